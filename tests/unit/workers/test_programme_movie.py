"""An automatic stage makes a movie of the programme from the list, the reels and the sound among what it takes."""

import subprocess
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile

from relay.errors import RefusedError
from relay.ledger.job_state import Job
from relay.ledger.state import State, Version
from relay.media.showing import MovieOrder
from relay.model import ScanMap
from relay.programme.cutlist import CutList, Event
from relay.programme.own_form import own_form
from tests.references.damage import written
from tests.unit.programme.test_cutlist import A, B
from tests.unit.workers.house import COORDINATOR, film
from workers.kinds import KINDS

CUT = CutList(Fraction(24), (Event(A, 0, 9, Fraction(18)), Event(B, 2, 5, Fraction(24)), Event(A, 3, 4, Fraction(24))))

MORNING = datetime(2027, 1, 1, tzinfo=UTC)


def version(name: str, scan_map: ScanMap | None) -> Version:
    return Version(name, "0" * 64, 1, 1, (), scan_map, "", "lisbon", 1, MORNING)


@pytest.fixture
def taken(tmp_path: Path) -> tuple[State, Job, Path]:
    """The edit's package with the list and a sound, and the frames of reel A; reel B is not among them."""
    package = tmp_path / "inputs"
    edit, scan = package / "Q_R01_v1", package / "A_R01_v2"
    edit.mkdir(parents=True)
    scan.mkdir()
    (edit / "list.toml").write_text(own_form(CUT), encoding="utf-8")
    (edit / "other.toml").write_text("note = 1", encoding="utf-8")
    soundfile.write(edit / "cue.wav", np.zeros(48_000), 48_000, subtype="PCM_16")
    for number in range(8):
        body = written(scan / "f.dpx", np.full((30, 40, 3), 20_000 + 4_000 * number, np.uint16))
        (scan / f"a.{500 + number:07d}.dpx").write_bytes(body)
    (scan / "f.dpx").unlink()
    made = [version("Q/R01/v1", None), version("A/R01/v2", ScanMap.start_mark(500))]
    state = State(versions={each.name: each for each in made}, production=film([{"name": "movie"}], {COORDINATOR: []}))
    inputs = tuple(each.name for each in made)
    job = Job("movie/Q/R01/1", "movie", "Q/R01", inputs, (), 1, MORNING, 1, MORNING)
    return state, job, package


def test_the_movie_is_as_long_as_the_list_and_slates_what_is_not_there(taken: tuple[State, Job, Path], tmp_path: Path):
    state, job, package = taken
    (output := tmp_path / "output").mkdir()
    command = KINDS["programme-movie"](state, job, tmp_path, package, output, ["240"])
    order = MovieOrder.model_validate_json((tmp_path / "order.json").read_bytes())
    assert [each.lines[1] for each in order.slates] == ["5 frames missing: 2-6"]
    subprocess.run(command, check=True, capture_output=True)
    with av.open(str(output / "Q_R01_programme.mov")) as container:
        assert container.streams.video[0].frames == 18
        assert len(container.streams.audio) == 1


@pytest.mark.parametrize("words", [["1081"], ["tall"], ["90"], ["240", "240"]])
def test_a_word_that_is_no_number_of_lines_is_refused(taken: tuple[State, Job, Path], tmp_path: Path, words: list[str]):
    state, job, package = taken
    with pytest.raises(RefusedError, match="means nothing to a programme's movie"):
        KINDS["programme-movie"](state, job, tmp_path, package, tmp_path, words)


def test_without_one_list_nothing_is_made(taken: tuple[State, Job, Path], tmp_path: Path):
    state, job, package = taken
    (package / "A_R01_v2" / "again.toml").write_text(own_form(CUT), encoding="utf-8")
    with pytest.raises(RefusedError, match="hold 2 cut lists"):
        KINDS["programme-movie"](state, job, tmp_path, package, tmp_path, [])
