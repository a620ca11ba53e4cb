"""What a message may say: which production it is about, and a name to put into the log. It cannot carry an order.

Whoever can write to the broker can at most make a site look into the ledger once too often.
"""

import logging
import re
from collections.abc import Sequence
from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, ValidationError

from relay.model import Frozen, Slug
from relay.settings import first_fault

LOG = logging.getLogger("relay.workers")


class Kind(StrEnum):
    """The tasks; each is a bell, and they differ in where one looks first."""

    WAKE = "wake"
    """Something was said about a job."""
    ARRIVE = "arrive"
    """A version is meant for this site."""
    VERIFY = "verify"
    """A version waits for this site's receipt."""
    FIXITY = "fixity"
    """See whether stored copies are due to be read again."""
    SWEEP = "sweep"
    """Look at everything."""
    PULSE = "pulse"
    """Does this worker still take messages? A worker asks itself."""

    @property
    def task(self) -> str:
        """The name of the Celery task."""
        return f"relay.{self}"


_NAME = re.compile(r"[A-Za-z0-9_./-]{0,120}")


def is_name(text: str) -> bool:
    """Answer whether `text` may be the name of a job or a version."""
    return _NAME.fullmatch(text) is not None


def _parse_name(text: str) -> str:
    if not is_name(text):
        raise ValueError("it names no job and no version")
    return text


class Message(Frozen):
    """All that a message carries."""

    production: Slug
    about: Annotated[str, AfterValidator(_parse_name)] = ""
    """The name of a job or a version."""


def site_queue(production: str, site: str) -> str:
    """Return the name of the queue that one site hears."""
    return f"relay.{production}.site.{site}"


def stage_queue(production: str, stage: str) -> str:
    """Return the name of the queue that every site hears which can do a stage; one of them takes each message."""
    return f"relay.{production}.stage.{stage}"


def heard(kind: Kind, told: Sequence[object], production: str) -> Message | None:
    """Return the message that a task was called with; None, and a line in the log, where it is none for us."""
    try:
        (body,) = told
        message = Message.model_validate(body, strict=True)
    except (ValueError, ValidationError) as error:
        LOG.warning("a message %s was thrown away: %s", kind, first_fault(error)[:300])
        return None
    if message.production != production:
        LOG.warning("a message %s was thrown away: it is about %s, not %s", kind, message.production, production)
        return None
    return message
