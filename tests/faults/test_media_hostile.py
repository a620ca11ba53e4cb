"""Files whose headers lie: no crash of ours, no more memory than was allowed, and a sentence for each."""

import resource
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from relay.media.eyes import Eyes, Look, _died
from tests.references.hostile import good_files, hostile

_KILLED = "the process that looked at it was killed by it"

NORMAL, SOAK = 200, 5000
MEMORY = 900 * 1024 * 1024
"""Bytes a child may hold: what it loads, four times the largest picture that so small a file may claim, and slack."""


@pytest.fixture
def eyes() -> Iterator[Eyes]:
    with Eyes(2) as eyes:
        yield eyes


def looked(eyes: Eyes, kind: str, body: bytes, scratch: Path) -> Look:
    if kind in {"wav", "flac"}:
        place = scratch / f"a.{kind}"
        place.write_bytes(body)
        how = {"what": "sound", "clipped": 4, "silent_below": -60.0, "silent_seconds": 1.0, "seconds": 20}
        return eyes.file({**how, "path": str(place)})

    def fill(memory: memoryview) -> None:
        memory[:] = body

    return eyes.frame(kind, len(body), fill)


def check(eyes: Eyes, scratch: Path, count: int) -> None:
    good = good_files(scratch)
    for kind, bodies in good.items():
        for body in bodies:
            assert looked(eyes, kind, body, scratch).facts.get("fault", "") == "", kind
    refused = 0
    for seed in range(count):
        kind, body = hostile(good, seed)
        facts = looked(eyes, kind, body, scratch).facts
        fault = facts.get("fault", "")
        refused += bool(fault)
        assert fault == " ".join(fault.split()), (seed, fault)  # one line
        assert "Traceback" not in fault
        assert len(fault) <= 600, (seed, fault)
        assert fault or facts.get("samples") is not None or facts["mark"], (seed, kind)
    assert refused > count // 4
    for kind, bodies in good.items():  # and whoever comes after them is served
        assert looked(eyes, kind, bodies[0], scratch).facts.get("fault", "") == ""


def check_memory(eyes: Eyes) -> None:
    eyes.__exit__()
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024 <= MEMORY


def test_files_that_lie_are_told_of_and_harm_nobody(eyes: Eyes, tmp_path: Path):
    check(eyes, tmp_path, NORMAL)


@pytest.mark.soak
def test_five_thousand_files_that_lie_harm_nobody(eyes: Eyes, tmp_path: Path):
    check(eyes, tmp_path, SOAK)
    check_memory(eyes)


def test_a_picture_that_claims_more_than_its_file_could_hold_is_not_even_decoded(eyes: Eyes, tmp_path: Path):
    good = good_files(tmp_path)
    body = bytearray(good["dpx"][0])
    body[772:780] = (2**31).to_bytes(4, "big") * 2
    assert "claims 2147483648x2147483648 pixels" in looked(eyes, "dpx", bytes(body), tmp_path).facts["fault"]
    body[772:780] = (15_000).to_bytes(4, "big") * 2
    assert "no more than 1500 times the file" in looked(eyes, "dpx", bytes(body), tmp_path).facts["fault"]


def test_what_kills_the_process_is_a_finding_about_one_file(eyes: Eyes, tmp_path: Path):
    good = good_files(tmp_path)["dpx"][0]

    def fill(memory: memoryview) -> None:
        memory[:] = good

    def fill_and_kill(memory: memoryview) -> None:  # as a decoder's own fault would
        fill(memory)
        for child in eyes._children:
            if child._process:
                child._process.kill()
                child._process.wait()

    assert eyes.frame("dpx", len(good), fill_and_kill).facts["fault"] == _KILLED
    assert eyes.frame("dpx", len(good), fill).facts["fault"] == ""


@pytest.mark.parametrize("kind", ["tif", "exr", "png"])
def test_a_file_ends_where_it_ends_whatever_lay_there_before(tmp_path: Path, kind: str):
    body = good_files(tmp_path)[kind][0]
    with Eyes(1) as one:
        assert looked(one, kind, body, tmp_path).facts["fault"] == ""
        assert looked(one, kind, body[: len(body) * 2 // 3], tmp_path).facts["fault"] != ""


def test_a_look_without_end_is_stopped_by_an_alarm_that_the_file_cannot_put_off():
    assert _died(-signal.SIGALRM) == "looking at it took longer than its size accounts for, and was stopped"
    with Eyes(1) as eyes:
        pipe = "/dev/stdin"  # a file that never ends to be read: the child's own standard input
        how = {"what": "sound", "clipped": 4, "silent_below": -60.0, "silent_seconds": 1.0, "seconds": 1}
        assert "longer than its size accounts for" in eyes.file({**how, "path": pipe}).facts["fault"]


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not hold a process to its address space")
def test_a_child_gets_no_more_memory_than_it_was_allowed():
    program = """
from relay.media.child import _address_space, _limit
_limit(_address_space() + 50_000_000)
held = bytearray(30_000_000)
try:
    bytearray(100_000_000)
except MemoryError:
    print("refused")
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == "refused\n"
