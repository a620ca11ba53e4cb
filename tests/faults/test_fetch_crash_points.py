"""A fetch that ends at any one of its calls to the file system, by a kill or by a power cut: no bad state, ever."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults.crash_points import END
from tests.faults.disks import CannotMountError, own_disk

ROOT = Path(__file__).parents[2]
SYNCS = ("before fsync", "before syncfs")
# Linux, fsync(2): a file's name is on the disk only when its folder was synced, too; syncfs(2) takes all of a disk.
SYNCED = {
    "each": [*["before fsync of a file"] * 5, *["before fsync of a folder"] * 3],
    "at-once": ["before syncfs"],
}
"""What is synced before the package, of five files in three folders, is given its name."""


def points(base: Path, *words: str) -> list[dict[str, str]]:
    """Run a fetch up to each of its calls in turn, and return what each came to."""
    kind, how, *more = words
    command = [sys.executable, "-m", "tests.faults.crash_points", kind, base, how, *more]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    found = [json.loads(line) for line in done.stdout.splitlines()]
    print(f"{' '.join(words)}: {len(found) - 1} points")
    return found


def check_no_bad_state(found: list[dict[str, str]]) -> None:
    bad = [point for point in found if point["found"] == "HALF" or point["after"] != "whole"]
    assert not bad, bad
    assert {point["found"] for point in found[:-1]} <= {"absent", "whole"}
    assert (found[-1]["call"], found[-1]["found"]) == (END, "whole")


def kinds_of(found: list[dict[str, str]]) -> set[str]:
    return {point["call"] for point in found}


@pytest.mark.parametrize("how", ["at-once", "each"])
def test_a_fetch_that_dies_at_any_of_its_calls_leaves_all_or_nothing(how, tmp_path):
    found = points(tmp_path, "kill", how)
    check_no_bad_state(found)
    assert {"before mkdir", "before open", "half pwrite"} <= kinds_of(found)
    calls = [point["call"] for point in found]
    named = calls.index("before rename")
    assert calls.count("before rename") == 1
    assert [call for call in calls[:named] if call.startswith(SYNCS)] == SYNCED[how]
    if how == "at-once":
        assert "pwrite" not in " ".join(calls[calls.index("before syncfs") :])
    assert calls[named + 1] == "before fsync of a folder"  # the one above, which holds the name
    assert not [call for call in calls[named + 2 :] if call.startswith(SYNCS)]


def test_a_second_run_that_dies_at_any_of_its_calls_leaves_all_or_nothing(tmp_path):
    found = points(tmp_path, "kill", "each", "left")
    check_no_bad_state(found)
    assert {"before unlink", "before rmdir", "before ftruncate"} <= kinds_of(found)


@pytest.mark.soak
@pytest.mark.parametrize("how", ["at-once", "each"])
def test_a_fetch_with_a_file_in_chunks_that_dies_at_any_of_its_calls_leaves_all_or_nothing(how, tmp_path):
    found = points(tmp_path, "kill", how, "sound")
    check_no_bad_state(found)
    assert "before fallocate64" in kinds_of(found)


@pytest.mark.parametrize(
    ("kind", "how"),
    [
        ("ext4", "at-once"),
        ("xfs", "each"),
        pytest.param("ext4", "each", marks=pytest.mark.soak),
        pytest.param("xfs", "at-once", marks=pytest.mark.soak),
    ],
)
def test_a_power_cut_at_any_call_leaves_all_or_nothing(kind, how, tmp_path):
    """What the process had been told to be on the disk is read back from the disk's blocks alone."""
    try:
        with own_disk(tmp_path, kind):
            pass
    except CannotMountError as error:
        pytest.skip(f"no disk whose power could be cut: {error}")
    found = points(tmp_path, "power", how, kind)
    check_no_bad_state(found)
    assert ("before syncfs" in kinds_of(found)) is (how == "at-once")
