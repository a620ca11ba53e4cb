"""`relay inspect`, then `relay send`, in this process: the kernel's count of bytes read tells the two apart."""

import shutil
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from relay.cli.commands import app
from relay.clock import SystemClock
from tests.acceptance.house import House
from tests.references.damage import FIRST, titled, written

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="the kernel's own count of bytes read is Linux's")

FRAMES = 6
GRAIN = np.random.default_rng(3)
LITTLE = 0.2
"""Of a package's bytes: what the ledger's entries and the headers take."""


@pytest.fixture(autouse=True)
def an_hour_later(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put the machine's clock forward: a file that was just written is believed no longer than it is read."""
    later = lambda _clock: datetime.now(UTC).replace(microsecond=0) + timedelta(hours=1)  # noqa: E731
    monkeypatch.setattr(SystemClock, "now", later)


@pytest.fixture
def reel(tmp_path: Path) -> Path:
    folder = tmp_path / "scan"
    folder.mkdir()
    for at in range(FRAMES):
        picture = GRAIN.integers(8000, 60000, (500, 700, 3), dtype=np.uint16)
        body = titled(written(tmp_path / "f.dpx", picture), at, FRAMES, 18.0, None, b"")
        (folder / f"A_R01.{FIRST + at:07d}.dpx").write_bytes(body)
    return folder


def size_of(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.iterdir())


def bytes_read(house: House, *words: str | Path) -> int:
    """Run a command, and return how many bytes this process read for it."""
    before = rchar()
    done = CliRunner().invoke(app, ["--home", str(house.place / "halifax"), *map(str, words)])
    assert done.exit_code == 0, (done.output, done.exception)
    return rchar() - before


def rchar() -> int:
    lines = Path("/proc/self/io").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("rchar"))


def test_what_was_looked_at_ahead_is_read_once_and_not_again_when_it_is_sent(house: House, reel: Path):
    size = size_of(reel)
    assert size <= bytes_read(house, "inspect", reel, "--ahead") < size * 2  # and what the looking process loads
    assert bytes_read(house, "send", reel, "A/R01", "--at-once") < size * LITTLE
    assert house.told("halifax", "verify", reel, "A/R01/v1")["whole"]


def test_a_frame_that_changed_meanwhile_is_read_again_and_no_other(house: House, reel: Path):
    size = size_of(reel)
    bytes_read(house, "inspect", reel, "--ahead")
    changed = reel / f"A_R01.{FIRST + 2:07d}.dpx"
    changed.write_bytes(changed.read_bytes()[:-1] + b"\1")
    assert size / FRAMES <= bytes_read(house, "send", reel, "A/R01", "--at-once") < size * (1 / FRAMES + LITTLE)
    assert house.told("halifax", "verify", reel, "A/R01/v1")["whole"]


def test_what_the_store_has_already_is_looked_at_and_not_read_again_when_it_is_sent(house: House, reel: Path):
    size = size_of(reel)
    again = shutil.copytree(reel, reel.with_name("again"))
    bytes_read(house, "send", reel, "A/R01", "--at-once")
    bytes_read(house, "inspect", again)
    assert bytes_read(house, "send", again, "A/R02", "--at-once") < size * LITTLE


def test_nothing_is_said_of_what_was_only_looked_at_ahead(house: House, reel: Path):
    entries = house.entries
    bytes_read(house, "inspect", reel, "--ahead")
    assert house.entries == entries
