"""Processes that are killed at random moments, the log of what each was at, and what that came to over many rounds.

A line in the log survives its writer's kill: `begun` or `answered`, the thread that did it, and the object's key; the
first line of each run is `ready`.
"""

import random
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

HANDS = 8
ROOT = Path(__file__).parents[2]


class Line(NamedTuple):
    what: str
    hand: str
    key: str


class Toll(NamedTuple):
    """What rounds of killing came to."""

    rounds: int
    cut: int  # rounds in which the process was killed before its end
    again: int  # objects that were in flight at a kill and were carried once more

    def __str__(self) -> str:
        return f"{self.rounds} rounds, {self.cut} cut short, {self.again} objects in flight carried again"


def started(child: str, *words: str | Path) -> subprocess.Popen[str]:
    """Start the module `child` of these tests in a process of its own."""
    command = [sys.executable, "-m", f"tests.faults.{child}", *words]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def finished(process: subprocess.Popen[str]) -> str:
    """Wait for a process that must end well, and return what it printed."""
    output, errors = process.communicate(timeout=300)
    assert process.returncode == 0, output + errors
    return output


class Log:
    """What the runs of one house wrote."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def lines(self) -> list[Line]:
        text = self.path.read_text() if self.path.exists() else ""
        whole = text[: text.rfind("\n") + 1]  # the last one may be on its way still
        return [Line(*line.split(" ", 2)) for line in whole.splitlines()]

    def runs(self) -> list[list[Line]]:
        """Return the lines of each run; the first of each is `ready`."""
        runs: list[list[Line]] = []
        for line in self.lines():
            if line.what == "ready":
                runs.append([])
            runs[-1].append(line)
        return runs

    def carried_again(self) -> int:
        """Return how many objects were begun more than once: never more than were in flight at the kills."""
        begun = [line.key for line in self.lines() if line.what == "begun"]
        again = len(begun) - len(set(begun))
        assert again <= HANDS * (len(self.runs()) - 1)
        return again


def last_of_each_hand(lines: list[Line], hands: int = HANDS) -> set[str]:
    """Return what each hand was at last: its answer may not have been noted yet. All before that was noted."""
    last = set({line.hand: line.key for line in lines}.values())
    assert len(last) <= hands
    return last


def killed_after(start: Callable[[], subprocess.Popen[str]], log: Log, count: int, wait: float) -> bool:
    """Start a run, kill it `wait` seconds after it began its object number `count`; False if it had finished before."""
    earlier = len(log.lines())
    process = start()
    while process.poll() is None and sum(line.what == "begun" for line in log.lines()[earlier:]) < count:
        time.sleep(0.002)
    time.sleep(wait)
    process.kill()
    output, errors = process.communicate()
    assert process.returncode in {0, -9}, output + errors
    return process.returncode == -9


def rounds(tmp_path: Path, seeds: range, play: Callable[[random.Random, Path], Toll], at_least: float) -> Toll:
    """Play a round for each seed in a folder of its own, and add up; `at_least` of them must have been cut short."""
    tolls = []
    for seed in seeds:
        base = tmp_path / str(seed)
        base.mkdir()
        try:
            tolls.append(play(random.Random(seed), base))
        except BaseException as fault:
            fault.add_note(f"seed {seed}")
            raise
        shutil.rmtree(base)
    toll = Toll(*(sum(column) for column in zip(*tolls, strict=True)))
    assert toll.cut > toll.rounds * at_least, f"too few kills struck while something was under way: {toll}"
    return toll
