import ast
import sys
import tomllib
from pathlib import Path

import av
import numpy as np
import pytest

from deploy.demo.lettering import LETTERS
from deploy.demo.reels import FRAMES_PER_SECOND, PRINTS, TITLE
from deploy.demo.sound import write_cue
from relay.film.gauges import GAUGES
from relay.model import Base, ElementKind, Production

DEMO = Path(__file__).parents[3] / "deploy" / "demo"
DRAWING = ["canvas", "dpx", "film", "lettering", "pictures", "props", "reels", "scenes", "sound", "wear"]


@pytest.fixture(scope="module")
def production():
    return Production.model_validate(tomllib.loads((DEMO / "production.toml").read_text("utf-8")))


def test_the_scenario_is_a_production_that_the_house_accepts(production):
    assert production.title == TITLE
    assert {site.zone for site in production.sites} == {
        "Europe/Lisbon",
        "America/Halifax",
        "Asia/Kolkata",
        "Asia/Tokyo",
        "Europe/Oslo",
    }
    assert production.premiere.zone == "Europe/Oslo"
    # tzdata: Oslo keeps summer time, two hours ahead of UTC, until the last Sunday of October.
    assert production.premiere.instant().isoformat() == "2027-09-18T17:00:00+00:00"


def test_each_stage_of_the_route_has_a_site_that_does_it(production):
    done = {stage for site in production.sites for stage in site.stages}
    assert {stage.name for stage in production.route} == done


def prints(production):
    return [element for element in production.elements if element.kind is not ElementKind.RESTORED_PROGRAMME]


def test_each_element_is_a_print_that_can_be_drawn_or_the_restored_film(production):
    assert [element.code for element in prints(production)] == list(PRINTS)
    assert len(production.elements) == len(PRINTS) + 1
    assert {element.rate() for element in production.elements} == {FRAMES_PER_SECOND}
    assert len({element.holder for element in prints(production)}) == 3
    for element in prints(production):
        assert PRINTS[element.code].film_format.endswith(element.kind)
        assert GAUGES[element.gauge].meaning.startswith(PRINTS[element.code].film_format[:5])


def test_each_loan_ends_with_a_date_a_credit_and_a_permitted_use(production):
    for element in prints(production):
        assert element.loan is not None
        assert element.loan.credit
        assert element.loan.permitted_use


def test_the_nitrate_element_and_no_other_carries_the_caution(production):
    # Common practice: nitrate burns and decays; handling is for local codes and licensed people.
    for element in production.elements:
        assert ("CAUTION, NITRATE" in element.condition) == (element.base is Base.NITRATE)
    assert [element.code for element in production.elements if element.base is Base.NITRATE] == ["A"]


def test_the_cue_is_24_bit_sound_as_long_as_the_reel(tmp_path):
    path = tmp_path / "cue.wav"
    # SMPTE ST 428-21: at 48 kHz a frame at 20 a second is 2,400 samples.
    assert write_cue(path, 80) == 80 * 2400
    with av.open(str(path)) as sound:
        stream = sound.streams.audio[0]
        assert (stream.codec_context.name, stream.rate, stream.channels) == ("pcm_s24le", 48000, 2)
        heard = np.hstack([block.to_ndarray().reshape(-1) for block in sound.decode(audio=0)])
    assert len(heard) == 80 * 2400 * 2
    assert 0.1 < np.abs(heard / 2**31).max() < 1
    assert not np.array_equal(heard[::2], heard[1::2])


def test_the_letters_are_all_different_and_of_one_size():
    assert len({letter.tobytes() for letter in LETTERS.values()}) == len(LETTERS)
    assert {letter.shape for letter in LETTERS.values()} == {(7, 5)}


@pytest.mark.parametrize("module", DRAWING)
def test_the_demo_draws_with_numpy_alone(module):
    tree = ast.parse((DEMO / f"{module}.py").read_text("utf-8"))
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    foreign = {name.partition(".")[0] for name in imported} - set(sys.stdlib_module_names)
    assert foreign <= {"numpy", "deploy"}
