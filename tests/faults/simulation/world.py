"""Simulated time, and processes that take turns in it: the same seed gives the same turns.

A process is a greenlet. It gives the turn away where a real one would wait: on the network, on the clock. Each of these
is also a point at which it may be killed.
"""

import random
from collections.abc import Callable
from datetime import datetime, timedelta
from heapq import heappop, heappush

from greenlet import GreenletExit, getcurrent, greenlet

from tests.unit.ledger.scene import NOON


class Killed(BaseException):
    """kill -9: no `except` of ours sees it."""


class Process(greenlet):
    """Something that runs, is killed, and is started again."""

    def __init__(self, world: "World", name: str, live: Callable[["Process"], None]) -> None:
        super().__init__()
        self.world = world
        self.name = name
        self.lives = 0
        self.turn = 0
        self.napping = False
        self._live = live
        world.processes.append(self)
        world.wake(self, world.chance.uniform(0, 5))

    def run(self) -> None:
        while True:
            self.lives += 1
            try:
                self._live(self)
            except Killed:
                self.world.kills += 1
                self.world.pause(self.world.chance.uniform(0.1, 8), deadly=False)


class World:
    """One seed's time, turns and dice."""

    def __init__(self, seed: int, *, deadliness: float = 0.022) -> None:
        self.seed = seed
        self.chance = random.Random(seed)
        self.now = 0.0
        self.kills = 0
        self.stormy = True
        """While this holds, requests fail and processes die."""
        self.deadliness = deadliness
        self.processes: list[Process] = []
        self._turns: list[tuple[float, int, Process | Callable[[], None], int]] = []
        self._counted = 0
        self._hub = getcurrent()

    def later(self, seconds: float, what: Callable[[], None]) -> None:
        """Let `what` happen in `seconds`, whoever has died by then."""
        self._push(seconds, what, 0)

    def wake(self, process: Process, seconds: float) -> None:
        """Give `process` its turn in `seconds`, and not when it would have had it otherwise."""
        process.turn += 1
        self._push(seconds, process, process.turn)

    def _push(self, seconds: float, what: Process | Callable[[], None], turn: int) -> None:
        self._counted += 1
        heappush(self._turns, (self.now + seconds, self._counted, what, turn))

    def me(self) -> Process:
        running = getcurrent()
        assert isinstance(running, Process)
        return running

    def pause(self, seconds: float, *, deadly: bool = True) -> None:
        """Give the turn away for `seconds`; a process may be killed while it waits."""
        self.wake(self.me(), seconds)
        self._hub.switch()
        if deadly:
            self.strike()

    def strike(self) -> None:
        """Kill the running process, sometimes."""
        if self.stormy and self.chance.random() < self.deadliness:
            raise Killed

    def nap(self, seconds: float) -> None:
        """Wait for `seconds`, or until somebody rings."""
        me = self.me()
        me.napping = True
        try:
            self.pause(seconds)
        finally:
            me.napping = False

    def ring(self) -> None:
        """Wake whoever naps; in a storm, half of the calls are lost."""
        for process in self.processes:
            if process.napping and (not self.stormy or self.chance.random() < 0.5):
                self.wake(process, self.chance.uniform(0.01, 1))

    def run(self, until: Callable[[], bool], limit: float) -> None:
        """Let time pass until something is so, or it is `limit`."""
        while self._turns and self.now < limit and not until():
            self.now, _, what, turn = heappop(self._turns)
            if not isinstance(what, Process):
                what()
            elif what.turn == turn:
                what.switch()

    def end(self) -> None:
        """End every process where it stands."""
        for process in self.processes:
            process.throw(GreenletExit)


class SiteClock:
    """A site's own clock, which may be wrong by a day."""

    def __init__(self, world: World, wrong_by: int) -> None:
        self._world = world
        self._wrong_by = timedelta(seconds=wrong_by)

    def now(self) -> datetime:
        return instant(self._world) + self._wrong_by

    def ticks(self) -> float:
        return self._world.now

    def wait(self, seconds: float) -> None:
        self._world.pause(seconds)


def instant(world: World) -> datetime:
    return NOON + timedelta(seconds=int(world.now))
