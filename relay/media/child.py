"""The process that looks at strangers' bytes, one file at a time, and may die of it: `python -m relay.media.child`.

It is told in lines of JSON what lies in the memory that it shares with its parent, and answers in lines of JSON. Its
memory is bounded by what a picture's header claims, its time by an alarm that nothing inside can put off.
"""

import json
import mmap
import os
import signal
import sys
from dataclasses import asdict
from typing import Any

import numpy as np

from relay.media.allowance import UNREAD, Allow, Allowance, for_picture
from relay.media.memory import address_space, limit_to
from relay.media.seeing import THUMB_LINES, THUMB_WIDTH, Eye, check_extent

THUMB_ROOM = THUMB_WIDTH * THUMB_LINES * 3
"""Bytes at the beginning of the shared memory where a thumbnail is left: rows of red, green, blue."""


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
        self._base = address_space()

    def looked(self, told: dict[str, Any], memory: mmap.mmap | None, room: int) -> dict[str, Any]:
        def allow(allowance: Allowance) -> None:
            within = allowance.at_most(told.get("seconds"))
            signal.alarm(within.seconds)
            limit_to(self._base + room + within.memory)

        allow(UNREAD)
        try:
            match told["what"]:
                case "sound":
                    from relay.media.sound import heard

                    return heard(told["path"], told["clipped"], told["silent_below"], told["silent_seconds"], allow)
                case "crop":
                    from relay.media.cropping import cropped

                    return cropped(told["path"], told["kind"], tuple(told["box"]), told["margin"], allow)
                case "movie":
                    from relay.media.movie import watched

                    return watched(told["path"], allow)
            assert memory is not None
            return self._frame(told, memory, allow)
        except (ValueError, MemoryError, OverflowError, RuntimeError, IndexError, TypeError, OSError) as fault:
            said = " ".join(str(fault).split())[:500]
            return {"fault": said or "it takes more memory than its header accounts for"}
        finally:
            signal.alarm(0)

    def _frame(self, told: dict[str, Any], memory: mmap.mmap, allow: Allow) -> dict[str, Any]:
        with memoryview(memory)[: told["length"]] as body:
            allow(for_picture(check_extent(told["kind"], body)))
            seen, thumb = self._eye.see(told["kind"], body, f"/dev/fd/{self._shared}")
        if thumb is not None:
            small = (thumb >> 8).astype(np.uint8).tobytes()
            self._thumbs[: len(small)] = small
        return asdict(seen)


if __name__ == "__main__":
    main()
