"""What all lanes of one site share: its folders, what failed lately, and whether it is time to stop."""

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from relay.clock import SYSTEM_CLOCK, Clock
from relay.doorbell import Doorbell, Silent
from relay.errors import LostRaceError, RelayError, TransientError
from workers.locks import held
from workers.patience import Patience
from workers.places import Places, folder_name
from workers.plans import Plans

LOG = logging.getLogger("relay.workers")


class StoppedError(TransientError):
    """The worker is being stopped; what was under way goes on with its next start."""


@dataclass
class Room:
    """One site's workers in one process."""

    places: Places
    locks: Path
    """Where the locks lie that several processes of this site share."""
    settle: float = 120.0
    """Seconds that a folder in `to-send/` must have been left alone."""
    every: float = 60.0
    """Seconds between two sweeps."""
    bell: Doorbell = field(default_factory=Silent)
    clock: Clock = SYSTEM_CLOCK
    stopping: threading.Event = field(default_factory=threading.Event)
    stages: frozenset[str] = frozenset()
    """What this site can do, as the ledger last said."""
    busy: set[str] = field(default_factory=set)
    """The automatic jobs that are being done in this process."""
    plans: Plans = field(default_factory=Plans)
    patience: Patience = field(init=False)

    def __post_init__(self) -> None:
        self.patience = Patience(self.clock, self.every)

    def check_going_on(self) -> None:
        """Raise StoppedError when it is time to stop."""
        if self.stopping.is_set():
            raise StoppedError("the worker was stopped; the next start goes on from here")

    @contextmanager
    def working_on(self, job: str) -> Iterator[bool]:
        """Keep every other worker of this site off an automatic job; False where one is at it already."""
        with held(self.locks / "jobs" / folder_name(job), tidy=True) as mine:
            if mine:
                self.busy.add(job)
            try:
                yield mine
            finally:
                if mine:
                    self.busy.discard(job)


def tell_trouble(who: str, error: RelayError) -> None:
    """Log what went wrong, as loudly as somebody has to do something about it."""
    match error:
        case LostRaceError():
            LOG.info("%s: %s", who, error)  # someone else does it: nothing is owed any more
        case TransientError():
            LOG.warning("%s: again later: %s", who, error)
        case _:
            LOG.error("%s: a person is needed: %s", who, error)


class StopWatch:
    """A watcher that ends a transfer between two objects when it is time to stop."""

    def __init__(self, room: Room) -> None:
        self._room = room

    def expect(self, files: int, size: int) -> None:
        pass

    def moved(self, size: int) -> None:  # noqa: ARG002  when, not how much, is what counts here
        self._room.check_going_on()

    def finished(self, path: str) -> None:
        pass

    def resting(self, seconds: float, why: str) -> None:
        pass
