"""The lanes of a site: each a thread with a desk of its own, which sleeps until it is rung.

A lane that is rung while it is busy goes once more when it is done: however many rings came, once is enough, because
going means looking at everything. So a message can never run work twice at once. A sweep rings only the looking lane;
that asks the store twice, and rings the others where the ledger owes them something.
"""

import logging
import threading
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager, ExitStack

from relay.errors import RelayError
from workers.locks import held
from workers.message import Kind
from workers.room import Room, StoppedError, tell_trouble
from workers.turn import Lane, Turn

LOG = logging.getLogger("relay.workers")

OpenTurn = Callable[[], AbstractContextManager[Turn]]

FIXITY_EVERY = 3600.0
"""Seconds between two looks at whether stored copies are due to be read again."""

_ELSEWHERE = 1.0  # seconds until a lane is tried again that another process of this site is running


class Lanes:
    """All lanes of one site in this process. `doers`: automatic jobs that may be done side by side."""

    def __init__(self, room: Room, open_turn: OpenTurn, doers: int = 1) -> None:
        self._room = room
        self._next_fixity = room.clock.ticks() + FIXITY_EVERY
        several = [(Lane.DO, f"do-{number}") for number in range(1, doers + 1)]
        single = [(lane, lane.value) for lane in Lane if lane is not Lane.DO]
        self._threads = [_Thread(lane, name, room, open_turn, self.ring) for lane, name in [*single, *several]]

    def start(self) -> None:
        """Begin to listen. Nothing is done before the first ring or sweep."""
        for thread in self._threads:
            thread.start()

    def ring(self, lanes: Iterable[Lane]) -> None:
        """Let these lanes go, or go once more. Returns at once."""
        wanted = set(lanes)
        for thread in self._threads:
            if thread.lane in wanted:
                thread.ring()

    def sweep(self) -> None:
        """Find everything that is owed, from the ledger alone."""
        LOG.debug("sweeping")
        self.ring([Lane.LOOK])
        if self._room.clock.ticks() >= self._next_fixity:
            self._next_fixity = self._room.clock.ticks() + FIXITY_EVERY
            self.ring([Lane.FIXITY])

    def stop(self, patience: float) -> bool:
        """Let every lane stop at the next safe place; False where one did not within `patience` seconds.

        Whatever is left under way then may be cut off at any moment: the next start goes on from there.
        """
        self._room.stopping.set()
        self.ring(Lane)
        give_up = self._room.clock.ticks() + patience
        for thread in self._threads:
            thread.join(max(0.0, give_up - self._room.clock.ticks()))
        return not any(thread.is_alive() for thread in self._threads)


class _Thread(threading.Thread):
    def __init__(
        self, lane: Lane, name: str, room: Room, open_turn: OpenTurn, ring_others: Callable[[Iterable[Lane]], None]
    ) -> None:
        super().__init__(name=name, daemon=True)
        self.lane = lane
        self._room = room
        self._open_turn = open_turn
        self._ring_others = ring_others
        self._rung = threading.Event()
        self._desk = ExitStack()
        self._turn: Turn | None = None

    def ring(self) -> None:
        self._rung.set()

    def run(self) -> None:
        with self._desk:
            while self._rung.wait() and not self._room.stopping.is_set():
                self._rung.clear()  # before looking, not after: what comes meanwhile must not be missed
                self._go()

    def _go(self) -> None:
        try:
            with held(self._room.locks / self.name) as mine:
                if mine:
                    self._run_lane()
                else:
                    self._room.stopping.wait(_ELSEWHERE)
                    self.ring()
        except StoppedError:
            return
        except RelayError as error:
            tell_trouble(self.name, error)
        except Exception:
            # A lane outlives what nobody foresaw: the others depend on it, and the next sweep tries again.
            LOG.exception("%s met something that was not foreseen; it is tried again with the next sweep", self.lane)
            self._close()

    def _run_lane(self) -> None:
        if self._turn is None:
            self._turn = self._desk.enter_context(self._open_turn())
        done = self._turn.run(self.lane)
        if self.lane is Lane.LOOK:
            self._ring_others(self._turn.wanted())
        elif done:
            self._ring_others([Lane.LOOK])

    def _close(self) -> None:
        """Put the desk away: what is on it may be half-told."""
        self._turn = None
        try:
            self._desk.close()
        except RelayError as error:
            tell_trouble(self.name, error)


def lanes_of(kind: Kind) -> Iterable[Lane]:
    """Return where one looks first when a message of that kind came; looking rings whatever else is needed."""
    match kind:
        case Kind.SWEEP:
            return Lane
        case Kind.FIXITY:
            return (Lane.FIXITY,)
        case Kind.ARRIVE | Kind.VERIFY:
            return (Lane.LOOK, Lane.RECEIVE)
        case Kind.WAKE | Kind.PULSE:
            return (Lane.LOOK,)
