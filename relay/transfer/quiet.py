"""Is a folder still being filled? What just changed is given a moment; a folder that goes on changing is refused."""

from collections.abc import Mapping
from pathlib import Path

from relay.clock import Clock
from relay.errors import RefusedError
from relay.transfer.folder import survey
from relay.transfer.notebook import Stamp
from relay.transfer.progress import UNWATCHED, Watcher

QUIET = 3.0
"""Seconds in which nothing may change. Longer pauses of a slow copy are for the watcher of `to-send/` to judge."""


def quiet_files(folder: Path, clock: Clock, watcher: Watcher = UNWATCHED) -> Mapping[str, Stamp]:
    """Wait until nothing in `folder` changed for `QUIET` seconds, and return its files.

    Raises RefusedError when it goes on changing.
    """
    before = survey(folder).files
    newest = max((stamp.ctime_ns for stamp in before.values()), default=0) / 1e9
    wait = min(QUIET, newest + QUIET - clock.now().timestamp())
    if wait <= 0:
        return before
    watcher.resting(wait, f"{folder} changed just now; is it finished?")
    clock.wait(wait)
    after = survey(folder).files
    moved = sorted(path for path in before.keys() | after.keys() if before.get(path) != after.get(path))
    if moved:
        others = f", and {len(moved) - 1:,} more files" if len(moved) > 1 else ""
        raise RefusedError(
            f"{folder} is still being filled: {moved[0]!r} changed just now{others}. "
            "Wait until it is finished, then send it; or --at-once, if you know better"
        )
    return after
