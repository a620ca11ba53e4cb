"""Who may look at a shared board and who may speak for which site: people with passwords, and links that only look.

One file in the home, `board/people.json`, written by `relay board person` and `relay board link`, read again when it
changes. Passwords are kept as argon2id hashes (RFC 9106), links as the SHA-256 of their secret.
"""

import secrets
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal, Self

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError
from pydantic import ValidationError, model_validator

from relay.board.rows.view import Viewer
from relay.errors import RefusedError
from relay.model import DigestField, Frozen, Instant, Line, Slug, digest_of
from relay.settings import first_fault

SHORTEST_PASSWORD = 10
"""Characters. NIST SP 800-63B asks for eight at least, and for no rules about which."""

LONGEST_PASSWORD = 256

_HASHER = PasswordHasher()
_NOBODY = "$argon2id$v=19$m=65536,t=3,p=4$6mErvk/WSxA713xmwU7TpQ$BG2nRzDSdRn0hMxklP/WJxqDfWEV3J2nQMCSD2DzZec"
"""Of a password that nobody kept, at the usual cost: compared with where nobody has that name, so that the time of an
answer tells nothing. Written down, since making one takes a quarter of a second of everybody who loads this."""


class Person(Frozen):
    """Somebody with a password."""

    name: Line
    role: Literal["coordinator", "site"]
    site: Slug
    """In whose name they act."""
    password: str
    """Its argon2id hash."""
    since: Instant

    def viewer(self) -> Viewer:
        return Viewer(name=self.name, role=self.role, site=self.site)


class Link(Frozen):
    """An address that lets whoever has it look: a guest at one archive's elements, a machine at everything."""

    secret: DigestField
    """The SHA-256 of what stands in the address."""
    role: Literal["guest", "machine"]
    name: Line
    holder: Line | None = None
    until: Instant

    @model_validator(mode="after")
    def _is_limited(self) -> Self:
        if (self.role == "guest") != (self.holder is not None):
            raise ValueError("a guest's link is for one holder's elements, a machine's for none")
        return self

    def viewer(self) -> Viewer:
        return Viewer(name=self.name, role=self.role, holder=self.holder)


class _Register(Frozen):
    people: tuple[Person, ...] = ()
    links: tuple[Link, ...] = ()


class People:
    """The register in one home."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "people.json"
        self._stamp: tuple[int, int] | None = None
        self._register = _Register()

    def _now(self) -> _Register:
        try:
            found = self._file.stat()
        except FileNotFoundError:
            self._stamp, self._register = None, _Register()
            return self._register
        stamp = (found.st_mtime_ns, found.st_ino)
        if stamp != self._stamp:
            try:
                self._register = _Register.model_validate_json(self._file.read_bytes())
            except (OSError, ValidationError) as error:
                raise RefusedError(
                    f"{self._file} cannot be read: {first_fault(error)}. Put it right; nobody can sign in before"
                ) from error
            self._stamp = stamp
        return self._register

    def _write(self, register: _Register) -> None:
        try:
            self._file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            fresh = self._file.with_suffix(".new")
            fresh.touch(mode=0o600)
            fresh.write_text(register.model_dump_json(indent=1), encoding="utf-8")
            fresh.replace(self._file)
        except OSError as error:
            raise RefusedError(
                f"{self._file} cannot be written ({error.strerror}): make room, or get the right"
            ) from error

    def add(self, name: str, role: Literal["coordinator", "site"], site: str, password: str, now: datetime) -> Person:
        """Let somebody sign in, in place of an earlier one of that name. Raises RefusedError."""
        if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
            raise RefusedError(
                f"the password has {len(password)} characters: expected {SHORTEST_PASSWORD} to {LONGEST_PASSWORD}"
            )
        person = Person(name=name, role=role, site=site, password=_HASHER.hash(password), since=now)
        register = self._now()
        others = tuple(each for each in register.people if each.name != name)
        self._write(register.model_copy(update={"people": (*others, person)}))
        return person

    def remove(self, name: str) -> bool:
        """Let nobody of that name in any more, by password or by link. False: there was none."""
        register = self._now()
        people = tuple(each for each in register.people if each.name != name)
        links = tuple(each for each in register.links if each.name != name)
        if (people, links) == (register.people, register.links):
            return False
        self._write(_Register(people=people, links=links))
        return True

    def issue(self, name: str, role: Literal["guest", "machine"], holder: str | None, until: datetime) -> str:
        """Return the secret of a new link; only its SHA-256 is kept."""
        secret = secrets.token_urlsafe(32)
        link = Link(secret=digest_of(secret.encode()), role=role, name=name, holder=holder, until=until)
        register = self._now()
        self._write(register.model_copy(update={"links": (*register.links, link)}))
        return secret

    def signed_in(self, name: str, password: str) -> Person | None:
        """Return who this is, or None; it takes as long either way."""
        person = next((each for each in self._now().people if each.name == name), None)
        try:
            _HASHER.verify(person.password if person else _NOBODY, password[:LONGEST_PASSWORD])
        except (Argon2Error, InvalidHashError):
            return None
        return person

    def by_link(self, secret: str, now: datetime) -> Link | None:
        """Return the link whose secret this is, unless it is over."""
        return self.link(digest_of(secret.encode()), now)

    def link(self, digest: str, now: datetime) -> Link | None:
        """Return the link of that digest, unless it is over or was taken back."""
        return next((each for each in self._now().links if each.secret == digest and now < each.until), None)

    def person(self, name: str, since: datetime) -> Person | None:
        """Return somebody who signed in earlier, unless their right was taken back or renewed since."""
        return next((each for each in self._now().people if (each.name, each.since) == (name, since)), None)

    def all(self) -> tuple[tuple[Person, ...], tuple[Link, ...]]:
        """Return everybody, and every link."""
        register = self._now()
        return register.people, register.links


LINK_DAYS = timedelta(days=90)
