"""What a command found, kept: a paper in the store about what it is of, with an entry that says so."""

import json
from collections.abc import Mapping
from typing import Annotated

import typer

from relay.ledger.state import Material
from relay.transfer.desk import Desk
from relay.transfer.material import About, keep_paper

Keep = Annotated[
    bool,
    typer.Option(
        "--keep",
        help="Keep what was found in the store, as a paper about the reel, and say so in the ledger. Guests of the "
        "archive that lent the reel can read it, other prints' figures too.",
    ),
]


def keep_facts(desk: Desk, name: str, facts: Mapping[str, object], about: About, note: str) -> Material:
    """Keep facts as JSON. Raises RefusedError where this site may not sign."""
    return keep_paper(desk, name, bytearray(json.dumps(facts, indent=1, default=str).encode() + b"\n"), about, note)


def kept_in_words(kept: Material) -> str:
    """Return where it is, as the last line of an answer."""
    return f"Kept as {kept.name}, entry {kept.entry}: `relay material get {kept.name} FOLDER` brings it back."
