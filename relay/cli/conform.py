"""`relay conform`: what a lab returned, held against the cut list, frame for frame."""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, count
from relay.cli.cut import Held, RateText, ground_of, read_cut_list
from relay.cli.numbers import pairs_of, parse_start_mark
from relay.errors import RefusedError
from relay.media.eyes import has_media
from relay.programme.conforming import ConformReport, Displaced
from relay.transfer.conforming import (
    came_in_folder,
    came_in_version,
    held_against,
    newest_check,
    read_check,
    say_conformed,
)
from relay.wiring import open_desk
from relay.wording import in_words

_READINGS = {
    "place": "The headers count places of the programme.",
    "source": "The headers carry the numbers of their source.",
    "nothing": "No headers that count were read: numbers stand in the files' names only.",
}


def conform(
    context: typer.Context,
    what: Annotated[
        str, typer.Argument(metavar="FOLDER|VERSION", help="What the lab returned, such as Q/R02/v3 or a folder.")
    ],
    cut_list: Annotated[
        Path | None,
        typer.Argument(metavar="LIST", help="The cut list.", show_default="show what was found before"),
    ] = None,
    start_mark: Annotated[
        str | None,
        typer.Option(
            metavar="NUMBER",
            help="For a folder: the number of the file that is the list's first frame, place 0.",
            show_default="the first file",
        ),
    ] = None,
    no_pictures: Annotated[
        bool, typer.Option("--no-pictures", help="Believe numbers alone; compare no picture.")
    ] = False,
    rate: RateText = "24",
    held: Held = False,
    as_json: AsJson = False,
) -> None:
    """Hold what a lab returned against the cut list.

    Every place of the programme must be there and show the frame that the list and its repeat pattern say, by its
    number and by its picture. For a version, the outcome is signed into the ledger, and whoever accepts sees it. Exit
    code 2: something lies otherwise.
    """
    with open_desk(context.obj) as desk:
        state = desk.ledger.follow()
        if cut_list is None:
            version = state.version(what)
            report = read_check(desk, newest_check(version))
        else:
            listed = read_cut_list(cut_list, ground_of(state.film(), rate, held=held))
            folder, seen = Path(what), not no_pictures and has_media()
            if folder.is_dir():
                mark = parse_start_mark(start_mark) if start_mark else None
                report = held_against(desk, listed, came_in_folder(folder, mark, with_pictures=seen))
            elif start_mark:
                raise RefusedError("--start-mark is for a folder: a version has its own")
            else:
                version = state.version(what)
                report = held_against(desk, listed, came_in_version(desk, version, with_pictures=seen), version)
                say_conformed(desk, version, listed, report)
    facts = {"what": what, "blocking": report.blocking(), "warning": report.warning()}
    facts |= report.model_dump(mode="json") | {
        "missing": pairs_of(report.missing),
        "extra": pairs_of(report.extra),
        "unlike": pairs_of(report.unlike),
    }
    answer(facts, as_json=as_json, show=lambda page: _show(page, report))
    if report.blocking():
        raise RefusedError(f"{what} lies otherwise than its cut list: {'; '.join(_sentences(report))}")


def _sentences(report: ConformReport) -> Iterator[str]:
    """Yield what blocks, the frames as ranges."""
    if report.missing:
        yield f"missing {in_words(report.missing, 6)}"
    if report.extra:
        yield f"not in the list {in_words(report.extra, 6)}"
    if wrong := [each.places for each in report.displaced if each.blocks]:
        yield f"another frame at {in_words(wrong, 6)}"


def _show(page: Page, report: ConformReport) -> None:
    lies = "lies as the list says" if not report.blocking() else "lies otherwise than the list says"
    page.line(f" of {count(report.places, 'place')} came back; it {lies}.", head=count(report.came, "frame"))
    page.line(_READINGS[report.reading])
    if report.compared:
        page.line(
            f"{count(report.compared, 'picture')} compared with their sources; {report.unsure:,} look like their "
            "neighbours, so that only the number speaks for them."
        )
        if report.mixed:
            page.line(" of these lie under dissolves, and were compared with both of their frames.",
                      head=count(report.mixed, "picture"))  # fmt: skip
    else:
        page.line(
            "No picture was compared: that takes an inspection, or a copy at this site, of the sources and of this."
        )
    rows = [
        *(("missing", str(each), "", "by number", "100%") for each in report.missing),
        *(("not in the list", str(each), "", "by number", "100%") for each in report.extra),
        *(_row(each) for each in report.displaced),
        *(("look: like nothing around", str(each), "", "by picture", "") for each in report.unlike),
    ]
    if rows:
        page.table(("found", "places", "what lies there", "how", "sure"), rows)


def _row(each: Displaced) -> tuple[str, ...]:
    return (
        "another frame" if each.blocks else "look: another frame?",
        str(each.places),
        f"{each.shows} from {each.shows_first} on, not {each.reel} from {each.first} on",
        f"by {each.by}",
        f"{each.sure:.0%}",
    )
