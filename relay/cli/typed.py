"""What people type, looked at before anything is done with it."""

from typing import Annotated, Any

import typer
from pydantic import TypeAdapter, ValidationError

from relay.model import Line, Note, Slug

VERSION_HELP = "Which version, such as A/R03/v3; or a reel, for its newest."


def _checked(text: str, kind: Any, expected: str) -> str:
    try:
        value: str = TypeAdapter(kind).validate_python(text)
    except ValidationError as error:
        found = repr(text if len(text) <= 60 else text[:60] + "...")
        raise typer.BadParameter(f"found {found}, {len(text)} characters; expected {expected}") from error
    return value


def checked_line(text: str) -> str:
    """Return one line of text. Raises BadParameter."""
    return _checked(text, Line, "one line of text, 1 to 400 characters, in UTF-8")


def checked_note(text: str) -> str:
    """Return a note. Raises BadParameter."""
    return _checked(text, Note, "a note of at most 4,000 characters, in UTF-8")


def checked_site(text: str) -> str:
    """Return the name of a site. Raises BadParameter."""
    return _checked(text, Slug, "a site's name as the production's file has it, such as halifax")


def checked_address(text: str | None) -> str | None:
    """Return the address of a store. Raises BadParameter."""
    return None if text is None else _checked(text, Line, "the address of a store, at most 400 characters")


Reason = Annotated[
    str, typer.Option(metavar="TEXT", callback=checked_line, help="Why, in a line. It stays in the ledger.")
]
SiteName = Annotated[
    str, typer.Argument(metavar="SITE", callback=checked_site, help="The site, as the production's file calls it.")
]
Person = Annotated[
    str | None,
    typer.Option(metavar="NAME", callback=lambda text: text and checked_line(text), help="Who says so, of this site."),
]
ReelText = Annotated[str, typer.Argument(metavar="REEL", help="Which reel: ELEMENT/REEL, such as A/R03.")]
VersionText = Annotated[str, typer.Argument(metavar="VERSION", help=VERSION_HELP)]
