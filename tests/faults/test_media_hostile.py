"""Files whose headers lie: no crash of ours, no more memory than was allowed, and a sentence for each."""

import io
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from relay.media.eyes import Eyes, Look, _died
from relay.media.header import extent_of
from tests.references.damage import written
from tests.references.hostile import good_files, hostile

_KILLED = "the process that looked at it was killed by it"

NORMAL, SOAK = 200, 5000
FILES = {"wav": "sound", "flac": "sound", "mov": "movie", "avi": "movie"}
IS_LINUX = sys.platform == "linux"
SLACK = 192 * 1024 * 1024
"""Bytes that a child may take beside four times what a picture's header claims."""


@pytest.fixture
def eyes() -> Iterator[Eyes]:
    with Eyes(1) as eyes:
        yield eyes


def looked(eyes: Eyes, kind: str, body: bytes, scratch: Path) -> Look:
    if kind in FILES:
        place = scratch / f"a.{kind}"
        place.write_bytes(body)
        how = {"what": FILES[kind], "clipped": 4, "silent_below": -60.0, "silent_seconds": 1.0, "seconds": 20}
        return eyes.file({**how, "path": str(place)})

    def fill(memory: memoryview) -> None:
        memory[:] = body

    return eyes.frame(kind, len(body), fill)


class Child:
    """The process of one pair of eyes, as the system accounts for it."""

    def __init__(self, eyes: Eyes) -> None:
        (self._child,) = eyes._children

    def pid(self) -> int | None:
        return self._child._process.pid if self._child._process else None

    def begin(self) -> tuple[int | None, int]:
        """Forget the most that it held so far (proc(5), clear_refs); return its number and the bytes it holds now."""
        pid = self.pid() if IS_LINUX else None
        if pid is None:
            return None, 0
        Path(f"/proc/{pid}/clear_refs").write_text("5")
        return pid, self.field("VmRSS")

    def text(self, name: str) -> str:
        """Return a field of its status (proc(5))."""
        lines = Path(f"/proc/{self.pid()}/status").read_text().splitlines()
        return next(line.split()[1] for line in lines if line.startswith(f"{name}:"))

    def field(self, name: str) -> int:
        """Return a field that is told in kilobytes, in bytes."""
        return int(self.text(name)) * 1024

    def limit(self) -> int:
        """Return how much it may take at all, in bytes of address space."""
        lines = Path(f"/proc/{self.pid()}/limits").read_text().splitlines()
        return next(int(line.split()[3]) for line in lines if line.startswith("Max address space"))


def accounted_for(kind: str, body: bytes) -> int:
    """Return the bytes that one look may take: four times what the picture's header claims, and slack."""
    if kind in FILES:
        return 4 * SLACK
    try:
        claimed = extent_of(kind, body)
    except ValueError:
        return SLACK
    size = claimed.width * claimed.height * max(1, claimed.channels) * (2 if claimed.bits <= 16 else 4)
    return SLACK + (4 * size if size < 2 * 2**30 else 0)  # what claims more than 2 GiB is not decoded at all


def check(eyes: Eyes, scratch: Path, count: int) -> None:
    good, child = good_files(scratch), Child(eyes)
    for kind, bodies in good.items():
        for body in bodies:
            assert looked(eyes, kind, body, scratch).facts.get("fault", "") == "", kind
    refused = 0
    for seed in range(count):
        kind, body = hostile(good, seed)
        pid, before = child.begin()
        facts = looked(eyes, kind, body, scratch).facts
        fault = facts.get("fault", "")
        refused += bool(fault)
        assert fault == " ".join(fault.split()), (seed, fault)  # one line
        assert "Traceback" not in fault
        assert len(fault) <= 600, (seed, fault)
        assert fault or facts.get("samples") is not None or facts.get("mark") or facts["frames"] >= 0, (seed, kind)
        if pid and child.pid() == pid:
            assert child.field("VmHWM") - before <= accounted_for(kind, body), (seed, kind)
    assert refused > count // 4
    for kind, bodies in good.items():  # and whoever comes after them is served
        assert looked(eyes, kind, bodies[0], scratch).facts.get("fault", "") == ""


def test_files_that_lie_are_told_of_and_harm_nobody(eyes: Eyes, tmp_path: Path):
    check(eyes, tmp_path, NORMAL)


@pytest.mark.soak
def test_five_thousand_files_that_lie_harm_nobody(eyes: Eyes, tmp_path: Path):
    check(eyes, tmp_path, SOAK)


@pytest.mark.skipif(not IS_LINUX, reason="other systems do not hold a process to its address space")
def test_a_child_may_take_what_the_file_s_header_claims_and_no_more(eyes: Eyes, tmp_path: Path):
    child, limits = Child(eyes), {}
    for wide, high in ((32, 24), (800, 600)):
        body = written(tmp_path / "a.dpx", np.zeros((high, wide, 3), np.uint16))
        assert looked(eyes, "dpx", body, tmp_path).facts["fault"] == ""
        limits[wide] = child.limit()
    assert limits[800] - limits[32] == 4 * (800 * 600 - 32 * 24) * 3 * 2  # three samples of two bytes, four times
    for channels in (1, 2):
        sound = io.BytesIO()
        soundfile.write(sound, np.zeros((100, channels)), 8000, format="WAV")
        looked(eyes, "wav", sound.getvalue(), tmp_path)
        limits[channels] = child.limit()
    assert limits[2] - limits[1] == 4 * 65536 * 4  # a block of samples, four bytes each, four times


@pytest.mark.skipif(not IS_LINUX, reason="read from Linux's own account")
def test_a_child_begins_no_thread_whose_memory_would_count_by_the_machine_s_cores(eyes: Eyes, tmp_path: Path):
    for kind, bodies in good_files(tmp_path).items():
        if kind in {"dpx", "tif", "png", "exr"}:
            assert looked(eyes, kind, bodies[-1], tmp_path).facts["fault"] == ""
            assert Child(eyes).text("Threads") == "1", kind


TELLING = """
import math, signal, struct
from relay.media.child import _Looker

class Telling:
    def see(self, *_how):
        raise ValueError(f"{math.ceil(signal.getitimer(signal.ITIMER_REAL)[0])} seconds are left")

looker = _Looker(0, None)
looker._eye = Telling()
head = bytearray(2048)
head[:4], head[800], head[803] = b"SDPX", 50, 10
for size in (10, 10), (2048, 1556), (4000, 2500):
    struct.pack_into(">II", head, 772, *size)
    print(looker.looked({"what": "frame", "kind": "dpx", "length": 2048}, head, 2048)["fault"])
"""


def test_a_look_may_last_a_second_longer_for_each_million_bytes_of_the_picture():
    done = subprocess.run([sys.executable, "-c", TELLING], capture_output=True, text=True, check=True)
    expected = (20, 20 + 19, 20 + 60)  # three samples of two bytes a pixel
    assert done.stdout.splitlines() == [f"{seconds} seconds are left" for seconds in expected]


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
from relay.media.memory import address_space, limit_to
limit_to(address_space() + 50_000_000)
held = bytearray(30_000_000)
try:
    bytearray(100_000_000)
except MemoryError:
    print("refused")
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == "refused\n"


@pytest.mark.skipif(not IS_LINUX, reason="other systems do not hold a process to its address space")
def test_a_copy_may_take_two_dozen_frames_of_the_size_that_the_first_claims(tmp_path: Path):
    program = """
import sys
from pathlib import Path
from relay.media.copying import Order, copied
copied(Order(element="A", reel="R01", gauge="35mm", rate="24"), Path(sys.argv[1]), Path(sys.argv[1]))
print(next(line.split()[3] for line in open("/proc/self/limits") if line.startswith("Max address space")))
"""
    limits = {}
    for wide, high in ((64, 48), (1600, 1200)):
        place = tmp_path / str(wide)
        place.mkdir()
        (place / "A.0001.dpx").write_bytes(written(tmp_path / "a.dpx", np.zeros((high, wide, 3), np.uint16)))
        done = subprocess.run([sys.executable, "-c", program, place], capture_output=True, text=True, check=True)
        limits[wide] = int(done.stdout)
    more = 24 * (1600 * 1200 - 64 * 48) * 3 * 2
    assert abs(limits[1600] - limits[64] - more) < 64 * 2**20  # what each process took before differs a little
