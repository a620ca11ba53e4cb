"""The only reader of the environment and of a site's file.

A site's home is a folder with `site.toml`, the site's key, its copy of the ledger and its notebook. The credentials of
an S3 store never stand in it: they are read where boto3 looks for them (AWS_ACCESS_KEY_ID and its kin, or a profile).
"""

import json
import os
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Annotated, get_args
from urllib.parse import quote

from pydantic import Field, ValidationError
from pydantic_core import ErrorDetails

from relay.clock import Pace
from relay.errors import MissingError, RefusedError
from relay.model import Code, DigestField, Frozen, Line, Slug

HOME_VARIABLE = "RELAY_HOME"
HANDS_VARIABLE = "RELAY_HANDS"
BROKER_VARIABLE = "RELAY_BROKER"
CLOCK_VARIABLE = "RELAY_CLOCK"
VARIABLES = {
    HOME_VARIABLE: "the site's home, where its key and its settings are; ~/.relay when not set",
    HANDS_VARIABLE: "how many files are on their way at once, 1 to 256; 16 when not set",
    BROKER_VARIABLE: "the address of the broker that wakes sites, such as rediss://site@host:6380; none when not set",
    CLOCK_VARIABLE: "for the demo only, whose days pass in a minute; refused where the store is no folder: how many "
    "seconds one counts as, since which instant, and which instant that was; the machine's clock when not set",
}
"""Every variable that is read, and what it is for. deploy/relay.env.example lists the same."""

_PRIVATE = ("RELAY_", "AWS_")


class SiteFile(Frozen):
    """`site.toml`: which site this is, of which production, and where that production lies."""

    site: Slug
    production: Slug
    root: DigestField
    """The SHA-256 of the production's root key: what tells this production from a forged one."""
    store: Line
    """The address of the store, without secrets."""


class Home(Frozen):
    """The places in a site's home."""

    folder: Path
    hands: Annotated[int, Field(ge=1, le=256)] = 16
    broker_address: str | None = Field(default=None, repr=False)
    """What RELAY_BROKER says; it may hold a password."""
    pace: Pace | None = None
    """What RELAY_CLOCK says: for the demo only."""

    @property
    def broker(self) -> str | None:
        """The address of the broker: the one that was named, or the one that a worker runs inside this home."""
        if self.broker_address:
            return self.broker_address
        return f"redis+socket://{quote(str(self.broker_socket))}" if self.broker_socket.is_socket() else None

    @property
    def broker_socket(self) -> Path:
        return self.folder / "broker" / "socket"

    @property
    def locks(self) -> Path:
        return self.folder / "locks"

    @property
    def site_file(self) -> Path:
        return self.folder / "site.toml"

    @property
    def key(self) -> Path:
        return self.folder / "key.pem"

    @property
    def root_key(self) -> Path:
        return self.folder / "root.pem"

    @property
    def ledger(self) -> Path:
        return self.folder / "ledger"

    @property
    def notebook(self) -> Path:
        return self.folder / "notebook"

    @property
    def arrivals(self) -> Path:
        return self.folder / "arrivals"

    @property
    def manifests(self) -> Path:
        return self.folder / "manifests"

    @property
    def owed(self) -> Path:
        return self.folder / "owed"

    def read(self) -> SiteFile:
        """Return what `site.toml` says. Raises MissingError, RefusedError."""
        try:
            return SiteFile.model_validate(tomllib.loads(self.site_file.read_text(encoding="utf-8")))
        except FileNotFoundError as error:
            raise MissingError(
                f"there is no site at {self.folder}: join with `relay site join INVITATION`, or name the right home "
                f"with --home or {HOME_VARIABLE}"
            ) from error
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValidationError) as error:
            raise RefusedError(
                f"{self.site_file} cannot be read: {first_fault(error)}. Put it right, or fetch it from its backup"
            ) from error

    def write(self, site: SiteFile) -> None:
        """Write `site.toml`, making the home if need be. Raises RefusedError."""
        lines = [f"{name} = {json.dumps(value, ensure_ascii=False)}\n" for name, value in site.model_dump().items()]
        self.make()
        try:
            self.site_file.write_text("".join(lines), encoding="utf-8")
        except OSError as error:
            raise self._unwritten(error) from error

    def make(self) -> None:
        """Make the folder, unless it is there. Raises RefusedError."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise self._unwritten(error) from error

    def drop_if_empty(self) -> None:
        """Take the folder away again, where nothing came of what it was made for."""
        with suppress(OSError):
            self.folder.rmdir()

    def _unwritten(self, error: OSError) -> RefusedError:
        return RefusedError(
            f"the home {self.folder} cannot be written ({error.strerror}): make room, get the right to write there, or "
            "name another home with --home"
        )


def home_of(folder: Path | None = None, environment: Mapping[str, str] | None = None) -> Home:
    """Return the home in `folder`, or the one that the environment names. Raises RefusedError."""
    told = _environment(environment)
    place = folder or Path(told.get(HOME_VARIABLE) or Path.home() / ".relay")
    hands = told.get(HANDS_VARIABLE) or "16"
    try:
        broker = told.get(BROKER_VARIABLE) or None
        home = Home(folder=place.expanduser().absolute(), hands=int(hands), broker_address=broker)
    except ValueError as error:
        raise RefusedError(f"{HANDS_VARIABLE} is {hands!r}: expected a number from 1 to 256") from error
    pace = told.get(CLOCK_VARIABLE)
    return home.model_copy(update={"pace": _parse_pace(pace)}) if pace else home


def store_keys(environment: Mapping[str, str] | None = None) -> tuple[str, str, str | None] | None:
    """Return access key, secret key and token from the environment; None leaves it to botocore to find some.

    botocore looks there first as well, and takes a fifth of a second longer over it.
    """
    told = _environment(environment)
    access, secret = told.get("AWS_ACCESS_KEY_ID"), told.get("AWS_SECRET_ACCESS_KEY")
    return (access, secret, told.get("AWS_SESSION_TOKEN") or None) if access and secret else None


def store_region(environment: Mapping[str, str] | None = None) -> str | None:
    """Return the region that the environment names, by botocore's own word for it."""
    told = _environment(environment)
    return told.get("AWS_DEFAULT_REGION") or None


def _environment(given: Mapping[str, str] | None) -> Mapping[str, str]:
    return os.environ if given is None else given  # noqa: TID251  this is the home of the environment


def _parse_pace(text: str) -> Pace:
    try:
        return Pace.parse(text)
    except ValueError as error:
        raise RefusedError(
            f"{CLOCK_VARIABLE} is {text!r}: it is for the demo only. Leave it out; or name how many seconds one counts "
            "as and two instants, such as 1440 2026-11-25T21:30:00Z 2027-08-30T06:00:00Z"
        ) from error


def program_environment(environment: Mapping[str, str] | None = None) -> dict[str, str]:
    """Return the environment for a program that a stage names: all of ours but what opens stores and brokers."""
    told = _environment(environment)
    return {name: value for name, value in told.items() if not name.startswith(_PRIVATE)}


_FAULTS_TOLD = 3

_FORMS = {
    get_args(Slug)[1].pattern: "a name of at most 40 characters a-z, 0-9 and -, such as halifax",
    get_args(Code)[1].pattern: "a code of at most 24 characters A-Z, a-z, 0-9, - and _, such as R03",
    get_args(Line)[1].pattern: "one line of text",
}
"""What a pattern asks for, in words."""


def first_fault(error: Exception, held: object = None) -> str:
    """Return in a few words what was wrong with a file that a person wrote, and where in what it `held`."""
    if isinstance(error, ValidationError):
        # A word that means nothing is often the slip of the pen because of which another one is missing.
        faults = sorted(_own_faults(error), key=lambda fault: fault["type"] != "extra_forbidden")
        more = f"; and {len(faults) - _FAULTS_TOLD} more" if len(faults) > _FAULTS_TOLD else ""
        return "; ".join(_fault_in_words(fault, held) for fault in faults[:_FAULTS_TOLD]) + more
    if isinstance(error, UnicodeDecodeError):
        return f"byte {error.start} is not UTF-8: save it as UTF-8 text"
    if isinstance(error, OSError):
        return error.strerror or str(error)
    return str(error)


def _own_faults(error: ValidationError) -> list[ErrorDetails]:
    """Return the faults without those that say only that a list is too short because an item of it is at fault."""
    faults = error.errors(include_url=False)
    inside = {fault["loc"][:depth] for fault in faults for depth in range(len(fault["loc"]))}
    return [fault for fault in faults if fault["type"] != "too_short" or fault["loc"] not in inside]


def _fault_in_words(fault: ErrorDetails, held: object) -> str:
    where, kind, found = _place(fault["loc"], held), fault["type"], fault["input"]
    said = fault["msg"].removeprefix("Value error, ").replace("Input should be", "expected").replace("String", "it")
    if kind == "missing":
        return f"{where} is missing"
    if kind == "extra_forbidden":
        return f"{where} means nothing here"
    if kind == "too_short":
        said = "expected at least one"
    elif kind == "tuple_type":
        said = "expected a list; of tables, with two brackets: [[element]]"
    elif kind == "string_pattern_mismatch":
        said = f"expected {_FORMS.get(fault['ctx']['pattern'], said)}"
    is_told = isinstance(found, dict | list) or repr(found) in said
    return (f"{where}: " if where else "") + said + ("" if is_told else f" (found {found!r:.100})")


def _place(loc: Sequence[int | str], held: object) -> str:
    """Return where in a file a fault is, by the names that stand in it: `element 'A', reel 'R01', frames`."""
    said: list[str] = []
    for part in loc:
        if isinstance(part, str):
            said.append(part)
            held = held.get(part) if isinstance(held, dict) else None
            continue
        held = held[part] if isinstance(held, list | tuple) and part < len(held) else None
        name = (held.get("name") or held.get("code")) if isinstance(held, dict) else None
        said[-1:] = [
            f"{said[-1] if said else 'item'} {name!r}" if name else f"{said[-1] if said else 'item'} {part + 1}"
        ]
    return ", ".join(said)
