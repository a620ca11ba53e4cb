"""`relay tidy`: makes room at a site, and removes nothing that is not whole in the store."""

from datetime import timedelta
from pathlib import Path
from typing import Annotated

import typer

from relay.cli.answer import AsJson, Page, answer, bytes_in_words, count
from relay.cli.progress import waiting
from relay.errors import RefusedError
from relay.transfer.desk import Desk
from relay.transfer.tidying import Found, Rule, Verdict, forget_signs, stale_signs, sweep_hidden
from relay.transfer.tidying import tidy as look_through
from relay.wiring import open_desk


def tidy(
    context: typer.Context,
    folder: Annotated[
        Path, typer.Option("--folder", metavar="FOLDER", help="Where this site's reels lie, as for `relay site run`.")
    ],
    older: Annotated[
        int, typer.Option(min=0, max=36500, metavar="DAYS", help="Leave what was written to since then.")
    ] = 30,
    read_within: Annotated[
        int,
        typer.Option(min=0, max=36500, metavar="DAYS", help="Read the store's copy again, unless that was done since."),
    ] = 7,
    remove: Annotated[
        bool, typer.Option("--remove", help="Remove what may go; without it, only say what would.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Make room in sent/ and arrived/.

    A folder goes only when nothing here needs it, nobody worked in it, and every byte of its version was read again in
    the store and is whole. The ledger is told that the copy is gone.
    """
    places = [folder.expanduser().absolute() / name for name in ("sent", "arrived")]
    if not any(place.is_dir() for place in places):
        raise RefusedError(f"there is no sent/ and no arrived/ in {folder}: name the folder of `relay site run`")
    rule = Rule(timedelta(days=older), timedelta(days=read_within))
    with open_desk(context.obj) as desk, waiting("looking through sent/ and arrived/", quiet=as_json):
        found = look_through(desk, places, rule, remove=remove)
        if remove:
            sweep_hidden(places)
        signs, trouble = _signs(desk, remove)
    facts = {"folders": [each._asdict() for each in found], "signs": signs, "signs_left": trouble}
    answer(facts, as_json=as_json, show=lambda page: _show(page, found, signs, trouble, remove))


def _signs(desk: Desk, remove: bool) -> tuple[int, str | None]:
    """Return how many signs of life are of claims that are over, and why they had to stay."""
    stale = stale_signs(desk)
    try:
        return (forget_signs(desk, stale) if remove else len(stale)), None
    except RefusedError as error:
        return 0, str(error)


def _show(page: Page, found: list[Found], signs: int, trouble: str | None, remove: bool) -> None:
    rows = [(each.verdict.value, str(each.folder), each.version, bytes_in_words(each.size), each.why) for each in found]
    if rows:
        page.table(("", "folder", "version", "size", "why"), rows)
    room = sum(each.size for each in found if each.verdict is not Verdict.STAYS)
    said = "made room for" if remove else "would make room for"
    page.line(f"{count(len(found), 'folder')} looked at: {said} {bytes_in_words(room)}.")
    if trouble:
        page.line(f"Signs of life of claims that are over stay in the store: {trouble}")
    elif signs:
        page.line(f"{count(signs, 'sign')} of life of claims that are over {'removed' if remove else 'could go, too'}.")
