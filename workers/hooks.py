"""Tells people what the ledger says they should know, by a web hook and by e-mail. Tried again until it went through.

What is told is read from the ledger; which of it was delivered is remembered in the site's home. Delivery never keeps a
transfer waiting: it is a lane of its own.
"""

import json
import logging
import smtplib
import tomllib
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from email.message import EmailMessage
from pathlib import Path
from typing import Annotated

from pydantic import Field, StringConstraints, ValidationError

from relay.errors import RefusedError, TransientError
from relay.ledger.notices import Notice, notices_for
from relay.ledger.state import State
from relay.model import Frozen
from relay.settings import first_fault
from relay.transfer.desk import Desk
from workers.plans import Plans

LOG = logging.getLogger("relay.workers")

TIMEOUT = 10  # seconds
_Text = Annotated[str, StringConstraints(min_length=1, max_length=400)]


class Mail(Frozen):
    """How e-mail leaves this site."""

    host: _Text
    port: Annotated[int, Field(ge=1, le=65535)] = 587
    sender: _Text
    to: Annotated[tuple[_Text, ...], Field(min_length=1)]
    starttls: bool = True
    user: str | None = None
    password_file: Path | None = None
    """A file with the password, readable by this user only."""


class Hooks(Frozen):
    """`hooks.toml` in a site's home."""

    webhook: Annotated[str, StringConstraints(pattern=r"^https?://")] | None = None
    mail: Mail | None = None


def read_hooks(path: Path) -> Hooks:
    """Return what `hooks.toml` says; nothing where there is none. Raises RefusedError."""
    try:
        return Hooks.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        return Hooks()
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise RefusedError(f"{path} cannot be read: {first_fault(error)}. It may say webhook and [mail]") from error


class Teller:
    """Delivers notices, each once to each way out."""

    def __init__(self, desk: Desk, hooks: Hooks, memory: Path, plans: Plans | None = None) -> None:
        self._desk = desk
        self._plans = plans or Plans()
        self._hooks = hooks
        self._memory = memory

    def tell(self) -> int:
        """Deliver what was not delivered yet; returns how many deliveries went through."""
        waiting = self.waiting(self._desk.ledger.follow())
        return sum(self._delivered(name, notice, deliver) for name, notice, deliver in waiting)

    def waiting(self, state: State) -> list[tuple[str, Notice, Callable[[Notice], None]]]:
        """Return what was not delivered yet, and by which way it is to go."""
        ways = list(self._ways())
        if not ways:
            return []
        told, notices = self._told(), notices_for(state, self._desk.site, self._desk.now())
        notices += self._plans.notices
        return [
            (way, notice, deliver) for notice in notices for way, deliver in ways if f"{way} {notice.name}" not in told
        ]

    def _ways(self) -> Iterator[tuple[str, Callable[[Notice], None]]]:
        if self._hooks.webhook:
            yield "webhook", self._post
        if self._hooks.mail:
            yield "mail", self._mail

    def _delivered(self, way: str, notice: Notice, deliver: Callable[[Notice], None]) -> bool:
        try:
            deliver(notice)
        except TransientError as error:
            LOG.warning("%s: %s was not told by %s, again later: %s", self._desk.site, notice.name, way, error)
            return False
        with self._memory.open("a", encoding="utf-8") as file:
            file.write(f"{way} {notice.name}\n")
        return True

    def _told(self) -> set[str]:
        try:
            return set(self._memory.read_text(encoding="utf-8").splitlines())
        except FileNotFoundError:
            return set()

    def _post(self, notice: Notice) -> None:
        body = json.dumps(self._facts(notice)).encode()
        request = urllib.request.Request(  # noqa: S310  the settings take http and https only
            self._hooks.webhook or "", body, {"Content-Type": "application/json", "Idempotency-Key": notice.name}
        )
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT):  # noqa: S310
                pass
        except (OSError, urllib.error.HTTPError) as error:
            raise TransientError(f"the web hook did not take it: {error}") from error

    def _facts(self, notice: Notice) -> dict[str, str]:
        film = self._desk.ledger.state.film()
        return {"production": film.name, "site": self._desk.site, **notice._asdict()}

    def _mail(self, notice: Notice) -> None:
        mail = self._hooks.mail
        if mail is None:
            return
        letter = EmailMessage()
        letter["From"], letter["To"] = mail.sender, ", ".join(mail.to)
        letter["Subject"] = f"{self._desk.ledger.state.film().title}: {notice.kind}"
        letter.set_content(notice.text + "\n")
        try:
            with smtplib.SMTP(mail.host, mail.port, timeout=TIMEOUT) as line:
                if mail.starttls:
                    line.starttls()
                if mail.user and mail.password_file:
                    line.login(mail.user, mail.password_file.read_text(encoding="utf-8").strip())
                line.send_message(letter)
        except (OSError, smtplib.SMTPException) as error:
            raise TransientError(f"the mail did not leave: {error}") from error
