"""`relay material`: stills and papers about an element, a reel or a place on it."""

from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, bytes_in_words
from relay.cli.numbers import pairs_of
from relay.cli.typed import checked_note
from relay.errors import MissingError
from relay.ledger.state import Material
from relay.transfer.material import About, write_out
from relay.transfer.material import keep as keep_file
from relay.wiring import open_desk
from relay.wording import in_words, parse_frames

app = typer.Typer(no_args_is_help=True)
AboutText = Annotated[
    str, typer.Argument(metavar="ABOUT", help="What it is about: an element, such as A, or a reel, such as A/R03.")
]


@app.command()
def keep(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A photograph, an inspection report, a label.")],
    about: AboutText,
    frames: Annotated[
        str | None, typer.Option(metavar="RANGES", help="Which frames of the reel, such as 120-140,200.")
    ] = None,
    note: Annotated[
        str, typer.Option(metavar="TEXT", callback=checked_note, help="What it shows.", show_default=False)
    ] = "",
    as_json: AsJson = False,
) -> None:
    """Keep a still or a paper with what it is about.

    It goes into the store and the ledger says so. At most 128 MiB; larger things are sent as packages.
    """
    with open_desk(context.obj) as desk:
        kept = keep_file(desk, file, About(about, parse_frames(frames) if frames else ()), note)
    answer(_facts(kept), as_json=as_json, show=lambda page: page.line(f" is kept: {_about(kept)}.", head=kept.name))


@app.command("list")
def list_material(
    context: typer.Context,
    about: Annotated[
        str | None, typer.Argument(metavar="ABOUT", help="Only about this element or reel.", show_default="all")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """List stills and papers."""
    with open_desk(context.obj) as desk:
        kept = [each for each in desk.ledger.follow().material if _concerns(each, about)]
    answer({"material": [_facts(each) for each in kept]}, as_json=as_json, show=lambda page: _show(page, kept))


@app.command()
def get(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="NAME", help="Its file's name, or the beginning of its SHA-256.")],
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to write it.")],
    as_json: AsJson = False,
) -> None:
    """Write a still or a paper into a folder, verified."""
    if not folder.is_dir():
        raise MissingError(f"there is no folder {folder}: make it, or name another")
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        found = [each for each in state.material if each.name == name or each.object.startswith(name)]
        if not found:
            raise MissingError(f"no still or paper is called {name}: `relay material list` shows those that are kept")
        target = write_out(desk, found[-1], folder)
    facts = {**_facts(found[-1]), "file": str(target)}
    answer(
        facts, as_json=as_json, show=lambda page: page.line(f"{target}, {bytes_in_words(found[-1].size)}, verified.")
    )


def _concerns(material: Material, about: str | None) -> bool:
    return about is None or material.about == about or material.about.startswith(f"{about}/")


def _about(material: Material) -> str:
    frames = f", frames {in_words(material.frames)}" if material.frames else ""
    return f"about {material.about}{frames}, {bytes_in_words(material.size)}, entry {material.entry}"


def _facts(material: Material) -> dict[str, object]:
    return {
        "name": material.name,
        "about": material.about,
        "frames": pairs_of(material.frames),
        "sha256": material.object,
        "bytes": material.size,
        "note": material.note,
        "by": material.by,
        "entry": material.entry,
    }


def _show(page: Page, kept: list[Material]) -> None:
    rows = [
        (
            each.about,
            in_words(each.frames) if each.frames else "",
            each.name,
            bytes_in_words(each.size),
            each.by,
            each.note,
        )
        for each in kept
    ]
    page.table(("about", "frames", "file", "size", "kept by", "note"), rows)
