"""Keeps a site's ear open: a Celery worker in a child process, and the watchdog that starts it anew when it is deaf.

Clients of Redis were seen to stay connected and hear nothing any more. So a worker asks itself: it sends a pulse
through its own queue, and when that does not come back although the broker takes messages, the child is ended and
another one started. The transfers are in this process, and do not notice.
"""

import json
import logging
import subprocess
import sys
import threading
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from pathlib import Path

from relay.clock import Clock
from relay.errors import RelayError
from relay.settings import SiteFile
from workers import consumer
from workers.message import Kind, site_queue, stage_queue
from workers.program import Guarded
from workers.ringing import Background, CeleryDoorbell
from workers.room import Room

LOG = logging.getLogger("relay.workers")

PULSE_EVERY = 10.0  # seconds
DEAF_AFTER = 30.0
"""Seconds without hearing its own pulse, while the broker takes messages, after which an ear is started anew."""

_LONGEST_WAIT = 60.0  # seconds between two starts of an ear that ends by itself
_LINE = 1000  # characters
_STEP = 1.0  # seconds between two looks after the ear

Heard = Callable[[Kind, str], None]


class Ear:
    """A running consumer."""

    def __init__(self, hears: consumer.Ear, heard: Heard) -> None:
        self._heard = heard
        command = [sys.executable, "-m", consumer.__name__]
        place = Path(consumer.__file__).parents[1]
        self._child = Guarded(command, folder=place, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        threading.Thread(target=self._listen, args=(hears,), name="ear", daemon=True).start()

    def _listen(self, hears: consumer.Ear) -> None:
        told, said = self._child.process.stdin, self._child.process.stdout
        assert told is not None
        assert said is not None
        try:
            told.write(hears.model_dump_json().encode() + b"\n")
            told.close()
            while line := said.readline(_LINE):
                self._take(line)
        except (OSError, ValueError):
            return  # it ended, or was put away

    def _take(self, line: bytes) -> None:
        try:
            told = json.loads(line)
            kind, about = Kind(told["kind"]), str(told["about"])
        except (ValueError, KeyError, TypeError):
            LOG.info("the ear said: %s", line.decode("utf-8", "replace").strip())
            return
        self._heard(kind, about)

    def is_open(self) -> bool:
        return self._child.is_running()

    def close(self) -> None:
        with self._child:
            self._child.end()


class Watchdog:
    """Starts the ear, sees whether it hears, and starts it anew. `step` is to be called again and again."""

    def __init__(
        self,
        hears: consumer.Ear,
        heard: Heard,
        clock: Clock,
        open_ear: Callable[[consumer.Ear, Heard], Ear] = Ear,
        bell: CeleryDoorbell | None = None,
    ) -> None:
        self._hears = hears
        self._heard = heard
        self._clock = clock
        self._open_ear = open_ear
        self._bell = bell or CeleryDoorbell(hears.production, hears.broker)
        self._ear: Ear | None = None
        self._opened = 0.0
        self._wait = 1.0
        self._not_before = 0.0
        self._next_pulse = 0.0
        self._unheard_since: float | None = None
        """When the first pulse was sent that was not heard; None: all were, or the broker did not take the last."""

    def step(self, stages: Collection[str] = ()) -> None:
        """Look after the ear once. It hears the site's own queue and those of `stages`."""
        own = site_queue(self._hears.production, self._hears.site)
        queues = (own, *(stage_queue(self._hears.production, stage) for stage in sorted(stages)))
        now = self._clock.ticks()
        if self._ear is not None:
            self._look_after(self._ear, queues, now)
        if self._ear is None and now >= self._not_before:
            self._open(queues, now)
        if self._ear is not None and now >= self._next_pulse:
            self._send_pulse(own, now)

    def close(self) -> None:
        """Close the ear."""
        ear, self._ear = self._ear, None
        if ear is not None:
            ear.close()
        self._bell.close()

    def _look_after(self, ear: Ear, queues: tuple[str, ...], now: float) -> None:
        if not ear.is_open():
            self._wait = 1.0 if now > self._opened + _LONGEST_WAIT else min(_LONGEST_WAIT, self._wait * 2)
            self._not_before = now + self._wait
            LOG.warning("the ear ended; it is opened anew in %.0f s", self._wait)
        elif self._unheard_since is not None and now >= self._unheard_since + DEAF_AFTER:
            LOG.warning("the ear is deaf, though the broker takes messages: it is opened anew")
        elif queues == self._hears.queues:
            return
        self.close()

    def _open(self, queues: tuple[str, ...], now: float) -> None:
        self._hears = self._hears.model_copy(update={"queues": queues})
        self._opened, self._next_pulse, self._unheard_since = now, now, None
        try:
            self._ear = self._open_ear(self._hears, self._take)
        except RelayError as error:
            LOG.warning("%s", error)
            self._not_before = now + _LONGEST_WAIT

    def _send_pulse(self, queue: str, now: float) -> None:
        self._next_pulse = now + PULSE_EVERY
        if self._unheard_since is None:
            self._unheard_since = now  # before sending: it may be heard before we are back
        if not self._bell.send(Kind.PULSE, [queue]):
            self._unheard_since = None

    def _take(self, kind: Kind, about: str) -> None:
        if kind is Kind.PULSE:
            self._unheard_since = None
        else:
            self._heard(kind, about)


@contextmanager
def watch(room: Room, site: SiteFile, broker: str, rung: Callable[[Kind], None]) -> Iterator[None]:
    """Keep an ear open, and let what this site says ring through `broker`."""

    def heard(kind: Kind, about: str) -> None:
        LOG.info("%s is rung: %s %s", site.site, kind, about)
        rung(kind)

    hears = consumer.Ear(broker=broker, production=site.production, site=site.site, queues=())
    watchdog = Watchdog(hears, heard, room.clock)
    room.bell = Background(CeleryDoorbell(site.production, broker))
    thread = threading.Thread(target=_go, args=(watchdog, room), name="watchdog", daemon=True)
    thread.start()
    try:
        yield
    finally:
        room.stopping.set()
        thread.join(_LONGEST_WAIT)


def _go(watchdog: Watchdog, room: Room) -> None:
    try:
        while not room.stopping.is_set():
            watchdog.step(room.stages)
            room.stopping.wait(_STEP)
    finally:
        watchdog.close()
