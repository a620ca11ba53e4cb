"""A site's copy of the ledger, killed at every call that is made while it is written.

    python -m tests.faults.ledger.copy_killed HOME SCENARIO

A process of its own, since it forks. It prints what it found as one JSON object.
"""

import json
import os
import shutil
import signal
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from relay.ledger.copy import LocalCopy
from relay.ledger.entry import NO_ENTRY
from relay.model import digest_of
from tests.unit.ledger.scene import Told, longer

BEFORE, AFTER = 5, 12
"""How many entries the site had seen, and how many it is told to keep."""


def child(what: Callable[[], object]) -> int:
    """Run `what` in a fork, and return its process."""
    process = os.fork()
    if process:
        return process
    what()
    os._exit(0)


def was_killed(process: int) -> bool:
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) == -signal.SIGKILL


def dying_at(point: int, what: Callable[[], object]) -> None:
    """Run `what`, and kill the process at its call number `point`: before a call into C, or right after one."""
    left = point

    def count(_frame: object, event: str, _called: object) -> None:
        nonlocal left
        if event in {"c_call", "c_return"}:
            left -= 1
            if left < 0:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.setprofile(count)
    what()
    sys.setprofile(None)


def prepared(home: Path, scenario: str, raws: list[bytes]) -> int:
    """Lay out a copy as `scenario` says, and return how many entries its site had seen."""
    shutil.rmtree(home, ignore_errors=True)
    if scenario == "new":
        return 0
    LocalCopy(home).keep(raws[:BEFORE])
    entries = home / "entries"
    match scenario:
        case "short":
            entries.write_bytes(entries.read_bytes()[:-30])
        case "gone":
            entries.unlink()
    return BEFORE


def points(home: Path, scenario: str) -> dict[str, object]:
    """Kill `keep` at each of its calls, and say in which states the copy was found, and in which it must not be."""
    raws = longer(Told.founded(), AFTER).raws[:AFTER]
    found: Counter[str] = Counter()
    wrong: list[str] = []
    for point in range(100_000):
        seen = prepared(home, scenario, raws)
        process = child(lambda point=point: dying_at(point, lambda: LocalCopy(home).keep(raws)))  # type: ignore[misc]
        if not was_killed(process):
            break
        head, entries = LocalCopy(home).head(), LocalCopy(home).entries()
        found[f"head {head.sequence + 1}, entries {len(entries)}"] += 1
        expected = digest_of(raws[head.sequence]) if head.sequence >= 0 else NO_ENTRY
        sound = head.sequence + 1 in {seen, AFTER} and head.digest == expected
        if not sound or entries not in ([], raws[: head.sequence + 1]):
            wrong.append(f"point {point}: head {head.sequence}, {len(entries)} entries")
        LocalCopy(home).keep(raws)
        if LocalCopy(home).entries() != raws:
            wrong.append(f"point {point}: not mended by the next keep")
    return {"points": point, "found": dict(found), "wrong": wrong}


if __name__ == "__main__":
    json.dump(points(Path(sys.argv[1]), sys.argv[2]), sys.stdout)
