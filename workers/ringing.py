"""Rings sites through the broker. What it cannot deliver soon it lets be: the sweep finds it."""

import logging
import queue
import threading
from collections.abc import Collection
from typing import Any

from kombu.exceptions import KombuError, OperationalError

from relay.doorbell import Calls, Doorbell
from workers.app import bell_app, queue_named
from workers.message import Kind, is_name, site_queue, stage_queue

LOG = logging.getLogger("relay.workers")

FULL = 50
"""Messages in a queue to which none is added: who reads one of them looks at everything anyway."""

_HASTE = 1.0
"""Seconds that the broker may take for one answer."""

# What kombu and redis-py raise where the line or the server fails; redis' own errors are no OSErrors.
_AWAY: tuple[type[Exception], ...] = (KombuError, OperationalError, OSError)


class CeleryDoorbell:
    """Registered under `relay.doorbell`; made anew for every command, or kept by a worker. Not for several threads."""

    def __init__(self, production: str, broker: str) -> None:
        self._production = production
        self._app = bell_app(broker)
        self._app.conf.broker_transport_options = {
            "socket_timeout": _HASTE,
            "socket_connect_timeout": _HASTE,
            "retry_on_timeout": False,
            # Once more at once, for a line that the broker closed while it lay idle.
            "max_retries": 1,
            "interval_start": 0,
            "interval_step": 0,
            "interval_max": 0,
            "connect_retries_timeout": _HASTE,
        }
        self._connection: Any = None
        self._is_away = False

    def ring(self, sites: Collection[str], stages: Collection[str], about: str) -> None:
        """Put one message into each queue, unless that is full."""
        names = [site_queue(self._production, site) for site in sorted(sites)]
        names += [stage_queue(self._production, stage) for stage in sorted(stages)]
        self.send(Kind.ARRIVE if "/v" in about else Kind.WAKE, names, about)

    def send(self, kind: Kind, names: Collection[str], about: str = "") -> bool:
        """Put a message into each of the queues; False where the broker did not take them all."""
        body = {"production": self._production, "about": about if is_name(about) else ""}
        try:
            for name in names:
                self._send(kind, name, body)
        except _away_errors(self._app) as error:
            level = logging.DEBUG if self._is_away else logging.WARNING  # once, not every ten seconds for a week
            LOG.log(level, "the broker takes no messages, the sweep serves: %s", str(error) or type(error).__name__)
            self._is_away = True
            self.close()
            return False
        if self._is_away:
            LOG.info("the broker takes messages again")
        self._is_away = False
        return True

    def _send(self, kind: Kind, name: str, body: dict[str, Any]) -> None:
        if self._connection is None:
            self._connection = self._app.connection_for_write()
        if self._connection.default_channel.queue_declare(name).message_count < FULL:
            self._app.send_task(
                kind.task, args=[body], queue=queue_named(name), connection=self._connection, retry=False, declare=[]
            )

    def close(self) -> None:
        """Hang up; the next ring opens the line anew."""
        line, self._connection = self._connection, None
        if line is not None:
            line.release()


def _away_errors(app: Any) -> tuple[type[Exception], ...]:
    connection = app.connection_for_write()
    return (*_AWAY, *connection.connection_errors, *connection.channel_errors)


class Background:
    """Rings from a thread of its own, so that no work ever waits for the broker; what piles up is rung at once."""

    def __init__(self, bell: Doorbell) -> None:
        self._bell = bell
        self._waiting: queue.SimpleQueue[Calls] = queue.SimpleQueue()
        threading.Thread(target=self._run, name="bell", daemon=True).start()

    def ring(self, sites: Collection[str], stages: Collection[str], about: str) -> None:
        """Ring soon. Returns at once."""
        self._waiting.put(Calls(set(sites), set(stages), about))

    def _run(self) -> None:
        while True:
            calls = self._waiting.get()
            while not self._waiting.empty():
                more = self._waiting.get()
                calls.add(more.about, more.sites, more.stages)
            self._bell.ring(calls.sites, calls.stages, calls.about)
