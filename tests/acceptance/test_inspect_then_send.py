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


def test_each_byte_is_read_once_over_a_look_ahead_and_the_send_after_it_and_what_changed_again(
    house: House, reel: Path, tmp_path: Path
):
    size, entries, little = size_of(reel), house.entries, tmp_path / "little"
    little.mkdir()
    (little / "A_R01.0000001.dpx").write_bytes(written(tmp_path / "f.dpx", np.zeros((3, 4, 3), np.uint16)))
    bytes_read(house, "inspect", little)
    loads = bytes_read(house, "inspect", little)  # what a looking process reads of its own; there may be two
    assert size + loads * 0.9 <= bytes_read(house, "inspect", reel, "--ahead") < size * (1 + LITTLE) + 2 * loads
    assert house.entries == entries  # nothing is said
    assert bytes_read(house, "send", reel, "A/R01", "--at-once") < size * LITTLE
    assert house.told("halifax", "verify", reel, "A/R01/v1")["whole"]
    changed = reel / f"A_R01.{FIRST + 2:07d}.dpx"
    changed.write_bytes(changed.read_bytes()[:-1] + b"\1")
    assert size / FRAMES <= bytes_read(house, "send", reel, "A/R01", "--at-once") < size * (1 / FRAMES + LITTLE)
    assert house.told("halifax", "verify", reel, "A/R01/v2")["whole"]


def test_what_the_store_has_already_is_looked_at_and_not_read_again_when_it_is_sent(house: House, reel: Path):
    again = shutil.copytree(reel, reel.with_name("again"))
    bytes_read(house, "send", reel, "A/R01", "--at-once")
    bytes_read(house, "inspect", again)
    assert bytes_read(house, "send", again, "A/R02", "--at-once") < size_of(reel) * LITTLE
