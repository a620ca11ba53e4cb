"""The process that looks at strangers' bytes, one file at a time, and may die of it: `python -m relay.media.child`.

It is told in lines of JSON what lies in the memory that it shares with its parent, and answers in lines of JSON. Its
memory is bounded by what a picture's header claims, its time by an alarm that nothing inside can put off.
"""

import json
import mmap
import os
import resource
import signal
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from relay.media.seeing import THUMB_LINES, THUMB_WIDTH, Eye, check_extent

THUMB_ROOM = THUMB_WIDTH * THUMB_LINES * 3
"""Bytes at the beginning of the shared memory where a thumbnail is left: rows of red, green, blue."""
SECONDS = 20
"""For a picture of no size at all; each million pixels' bytes take a second more."""
SLACK = 192 * 1024 * 1024
"""Bytes that decoders may take beside four times the decoded picture."""


def main() -> None:
    shared, left, size = int(sys.argv[1]), int(sys.argv[2]), 0
    thumbs = mmap.mmap(left, THUMB_ROOM)
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # a library that prints must not be taken for an answer
    memory: mmap.mmap | None = None
    looker = _Looker(shared, thumbs)
    for line in sys.stdin:
        told = json.loads(line)
        if told["what"] == "room":
            size = told["size"]
            memory = mmap.mmap(shared, size, prot=mmap.PROT_READ)
            answer: dict[str, Any] = {}
        else:
            answer = looker.looked(told, memory, size)
        answers.write(json.dumps(answer) + "\n")
        answers.flush()


class _Looker:
    def __init__(self, shared: int, thumbs: mmap.mmap) -> None:
        self._shared = shared
        self._thumbs = thumbs
        self._eye = Eye()
        self._base = _address_space()

    def looked(self, told: dict[str, Any], memory: mmap.mmap | None, room: int) -> dict[str, Any]:
        signal.alarm(told.get("seconds", SECONDS))
        try:
            match told["what"]:
                case "sound":
                    from relay.media.sound import heard

                    _limit(self._base + 2 * SLACK)
                    return heard(told["path"], told["clipped"], told["silent_below"], told["silent_seconds"])
                case "crop":
                    from relay.media.cropping import cropped

                    _limit(self._base + told["decoded"] * 4 + 2 * SLACK)
                    return cropped(told["path"], told["kind"], tuple(told["box"]), told["margin"])
                case "movie":
                    from relay.media.movie import watched

                    _limit(self._base + 6 * SLACK)
                    return watched(told["path"])
            assert memory is not None
            return self._frame(told, memory, room)
        except (ValueError, MemoryError, OverflowError, RuntimeError, IndexError, TypeError, OSError) as fault:
            said = " ".join(str(fault).split())[:500]
            return {"fault": said or "it takes more memory than its header accounts for"}
        finally:
            signal.alarm(0)

    def _frame(self, told: dict[str, Any], memory: mmap.mmap, room: int) -> dict[str, Any]:
        with memoryview(memory)[: told["length"]] as body:
            decoded = check_extent(told["kind"], body)
            signal.alarm(SECONDS + decoded // 1_000_000)
            _limit(self._base + room + 4 * decoded + SLACK)
            seen, thumb = self._eye.see(told["kind"], body, f"/dev/fd/{self._shared}")
        if thumb is not None:
            small = (thumb >> 8).astype(np.uint8).tobytes()
            self._thumbs[: len(small)] = small
        return asdict(seen)


def _address_space() -> int:
    """Return how much this process takes before it looks at anything; 0 where the system does not tell."""
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    except OSError:
        return 0


def _limit(size: int) -> None:
    if sys.platform == "linux":  # others do not hold a process to it
        resource.setrlimit(resource.RLIMIT_AS, (size, resource.RLIM_INFINITY))


if __name__ == "__main__":
    main()
