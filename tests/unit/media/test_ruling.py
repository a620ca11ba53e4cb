"""The rule file, what a production asks for, and that the command stays quick without the libraries."""

import subprocess
import sys
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from relay.cli.production_file import read_production
from relay.errors import RefusedError
from relay.media.asked import asked_for
from relay.media.findings import Grade, Kind
from relay.media.ruling import OWN_RULES, read_rules, rules_of, usual_rules
from relay.model import Production, Stage
from tests.unit.ledger.scene import production

STATES = Path(__file__).parents[3] / "docs" / "STATES.md"


def test_every_kind_of_finding_has_its_grade():
    assert set(usual_rules().grade) == set(Kind)
    assert set(usual_rules().grade.values()) == set(Grade)


def test_a_home_s_own_rules_go_before_the_usual_ones(tmp_path: Path):
    assert rules_of(tmp_path) == usual_rules()
    text = (Path(sys.modules["relay.media.ruling"].__file__ or "").with_name("rules.toml")).read_text()
    (tmp_path / OWN_RULES).write_text(text.replace('"black" = "warns"', '"black" = "blocks"'))
    assert rules_of(tmp_path).grade[Kind.BLACK] is Grade.BLOCKS
    (tmp_path / OWN_RULES).write_text("[grade]")
    with pytest.raises(RefusedError, match="is no rule file"):
        read_rules(tmp_path / OWN_RULES)


def test_the_stages_that_the_page_shows_are_stages():
    sample = STATES.read_text(encoding="utf-8").partition("```toml\n")[2].partition("```")[0]
    scan, copy = TypeAdapter(tuple[Stage, ...]).validate_python(tomllib.loads(sample)["stage"])
    assert scan.picture is not None
    assert (scan.picture.width, scan.picture.transfer) == (2048, "printing density")
    assert copy.is_automatic


def test_a_file_that_is_silent_about_it_has_every_stage_looked_at(tmp_path: Path):
    plain = production().model_dump(mode="json", by_alias=True, exclude_none=True)
    assert not Production.model_validate({**plain, "stage": [{"name": "scan"}]}).route[0].inspected  # an old ledger
    text = (STATES.parents[1] / "deploy" / "demo" / "production.toml").read_text("utf-8")
    (tmp_path / "film.toml").write_text(text.replace('name = "edit"\n', 'name = "edit"\ninspected = false\n'), "utf-8")
    route = {stage.name: stage.inspected for stage in read_production(tmp_path / "film.toml").route}
    assert route.pop("edit") is False
    assert set(route.values()) == {True}


def test_a_file_that_is_silent_about_it_has_reference_copies_made_of_accepted_scans_alone(tmp_path: Path):
    plain = production().model_dump(mode="json", by_alias=True, exclude_none=True)
    copying = {"name": "copy", "after": ["scan"], "command": ["reference-copy"]}
    scan, copy = Production.model_validate({**plain, "stage": [{"name": "scan"}, copying]}).route
    assert not copy.waits_for_acceptance(scan)  # an old ledger means what it meant
    text = (STATES.parents[1] / "deploy" / "demo" / "production.toml").read_text("utf-8")
    (tmp_path / "film.toml").write_text(text, "utf-8")
    film = read_production(tmp_path / "film.toml")
    waits = {stage.name: stage.waits_for_acceptance(film.stage("scan")) for stage in film.route}
    assert (waits["reference"], waits["process"]) == (True, False)
    own = text.replace('command = ["reference-copy"]', 'command = ["reference-copy"]\nopens_on = "arrival"')
    (tmp_path / "film.toml").write_text(own, "utf-8")
    assert read_production(tmp_path / "film.toml").stage("reference").opens_on == "arrival"


def test_what_is_known_of_a_reel_comes_from_the_production(tmp_path: Path):
    plain = production().model_dump(mode="json", by_alias=True)
    element = {**plain["element"][0], "code": "A", "gauge": "35mm", "speed": "200/11"}
    element["reel"] = [{"name": "R01", "frames": 16000, "feet": "990", "shrinkage": "1"}]
    plain["element"] = [element]
    plain["stage"] = [{"name": "scan", "picture": {"width": 2048}}]
    film = Production.model_validate(plain)
    asked = asked_for(film, "A/R01", "scan")
    assert (asked.frames, asked.rate, asked.picture.width) == (16000, Fraction(200, 11), 2048)
    # 16 frames to a foot (ISO 491, as the article "Filmfuss" cites it); 990 ft, one per cent short, were 1,000 ft
    assert asked.measured_frames() == 16000
    assert asked_for(film, "A/R01").picture is None


def test_the_command_loads_none_of_the_libraries_before_it_needs_them():
    heavy = ("numpy", "av", "OpenImageIO", "PIL", "soundfile")
    loaded = "import sys, workers.turn, relay.cli.commands as all; all.all_loaded(); "
    program = f"{loaded}print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
