"""The ear of a site's worker: a Celery worker in a process of its own, which writes down what it hears, a line each.

It does no work. So it can be ended and started again at any moment, while transfers go on in the process that
started it; a message that is no message at all ends it, too. What it is to hear it reads from its standard input, where
no other user of the machine can see the broker's password.
"""

import json
import logging
import platform
import sys
import warnings
from typing import TextIO

from celery.exceptions import SecurityWarning
from pydantic import BaseModel

from relay.errors import RefusedError
from workers.app import bell_app
from workers.message import Kind, heard
from workers.tasks import add_tasks


class Ear(BaseModel):
    """What to hear, and where."""

    broker: str
    production: str
    site: str
    queues: tuple[str, ...]


def listen(ear: Ear, out: TextIO) -> None:
    """Hear until ended, and write each message for this production to `out` as one line of JSON."""

    def hear(kind: Kind, told: tuple[object, ...]) -> None:
        message = heard(kind, told, ear.production)
        if message is not None:
            out.write(json.dumps({"kind": kind.value, "about": message.about}) + "\n")
            out.flush()

    app = bell_app(ear.broker, f"relay.{ear.production}.ear.{ear.site}", ear.queues)
    add_tasks(app, hear)
    alone = {"without_gossip": True, "without_mingle": True, "without_heartbeat": True}
    app.Worker(hostname=f"relay-{ear.site}@{platform.node()}", loglevel="WARNING", quiet=True, **alone).start()


class OneLine(logging.Filter):
    """Lets one line through of what Celery says, and of what it says again and again only the first."""

    def __init__(self) -> None:
        super().__init__()
        self._last = ""

    def filter(self, record: logging.LogRecord) -> bool:
        said = record.getMessage().strip().partition("\n")[0]
        record.msg, record.args, record.exc_info = said, None, None
        is_new, self._last = said != self._last, said
        return is_new


def _log_to_standard_error() -> None:
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s the ear: %(message)s")
    for handler in logging.getLogger().handlers:
        handler.addFilter(OneLine())


def main() -> None:
    warnings.simplefilter("ignore", SecurityWarning)  # as whom this runs was decided for the process that starts it
    _log_to_standard_error()
    line = sys.stdin.readline()
    if not line:
        raise RefusedError("nothing to hear was named: `relay site run` starts this, people do not")
    listen(Ear.model_validate_json(line), sys.stdout)


if __name__ == "__main__":
    main()
