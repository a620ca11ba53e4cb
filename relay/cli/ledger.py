"""`relay ledger`: see and check the record."""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, answer, count
from relay.errors import BrokenError, MissingError
from relay.ledger.copy import LocalCopy
from relay.ledger.entry import Entry, read_entry
from relay.ledger.history import History, split_bundle
from relay.ledger.keys import KeyId
from relay.ledger.reading import read_from
from relay.ledger.telling import telling
from relay.model import parse_digest
from relay.settings import Home
from relay.wiring import open_desk, open_store

app = typer.Typer(no_args_is_help=True)


@app.command()
def show(
    context: typer.Context,
    last: Annotated[int, typer.Option(metavar="COUNT", help="How many of the newest entries; 0 for all.", min=0)] = 20,
    as_json: AsJson = False,
) -> None:
    """Show what was said, by whom and when.

    The newest entries last.
    """
    with open_desk(context.obj) as desk:
        desk.ledger.follow()
        raws = desk.ledger.entries()
    start = len(raws) - last if 0 < last < len(raws) else 0
    entries = [read_entry(raw, slot) for slot, raw in enumerate(raws[start:], start)]
    facts = {"entries": [{"digest": entry.digest, **entry.body.model_dump(mode="json")} for entry in entries]}
    heads = ("entry", "time (UTC)", "by", "said")
    answer(facts, as_json=as_json, show=lambda page: page.table(heads, [_row(entry) for entry in entries]))


def _row(entry: Entry) -> tuple[str, ...]:
    said = "; ".join(telling(word) for word in entry.body.words)
    return str(entry.sequence), f"{entry.body.time:%Y-%m-%d %H:%M:%S}", entry.body.by, said


@app.command()
def check(
    context: typer.Context,
    folder: Annotated[
        Path | None,
        typer.Option(
            "--folder", metavar="FOLDER", help="Check the entries in this folder: a copy of the bucket, or an export."
        ),
    ] = None,
    root: Annotated[
        str | None,
        typer.Option(
            metavar="SHA-256", help="With --folder: the SHA-256 of the root key that must have signed entry 0."
        ),
    ] = None,
    bucket: Annotated[bool, typer.Option("--bucket", help="Read every entry from the bucket again.")] = False,
    as_json: AsJson = False,
) -> None:
    """Verify every place, digest, signature and right.

    From entry 0 on: in this site's own copy, with no line to anybody, unless told otherwise. Names the first entry that
    does not hold, and why.
    """
    home: Home = context.obj
    raws, pinned, where = _source(home, folder, root, bucket)
    history = History(pinned)
    state = history.take_all(raws)
    if state.sequence < 0:
        raise MissingError(f"there are no entries in {where}: expected a production's folder, or its entries/")
    head = LocalCopy(home.ledger).head() if folder is None else None
    if head and head.sequence > state.sequence:
        raise BrokenError(
            f"{where} ends with entry {state.sequence}, but this site has seen entry {head.sequence}: "
            "the entries after it were taken away. Call the coordinator"
        )
    facts = {"entries": state.sequence + 1, "head": state.digest, "root": state.root, "checked": where, "holds": True}
    said = (
        f"{count(state.sequence + 1, 'entry', 'entries')} in {where}: every place, digest, signature and right holds.\n"
        f"The last is {state.digest}."
        + ("" if pinned else f"\nIts root key is {state.root}: is that the `root` in a site.toml you trust?")
    )
    answer(facts, as_json=as_json, show=lambda page: page.line(said))


def _source(
    home: Home, folder: Path | None, root: str | None, bucket: bool
) -> tuple[Iterator[bytes], KeyId | None, str]:
    if folder is not None:
        return _from_folder(folder), _parsed_root(root), str(folder)
    site = home.read()
    if bucket:
        return iter(read_from(open_store(site.store), 0, bundles=False)), site.root, site.store
    copy = LocalCopy(home.ledger)
    if copy.head().sequence >= 0 and not copy.entries():
        raise BrokenError(
            f"this site's copy of the ledger in {home.ledger} is damaged: any other command reads it anew; "
            "or check the bucket with --bucket"
        )
    return iter(copy.entries()), site.root, f"this site's copy, {home.ledger}"


def _parsed_root(text: str | None) -> KeyId | None:
    if text is None:
        return None
    try:
        return parse_digest(text)
    except ValueError as error:
        raise typer.BadParameter(str(error)) from error


def _from_folder(folder: Path) -> Iterator[bytes]:
    inside = folder / "entries" if (folder / "entries").is_dir() else folder
    files = sorted(path for path in inside.iterdir() if path.is_file()) if inside.is_dir() else [folder]
    for file in files:
        try:
            yield from split_bundle(file.read_bytes())
        except OSError as error:
            raise MissingError(f"{file} cannot be read ({error.strerror}): name a folder with entries") from error
