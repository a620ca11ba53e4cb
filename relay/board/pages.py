"""The pages: Now, Reels, a reel, Jobs, Sites, Ledger. Each shows the rows that the JSON interface gives."""

from collections.abc import Sequence
from typing import Annotated, Any, Literal, get_args

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from relay.board.acting import Act
from relay.board.desk import Board
from relay.board.door import Asking, board_of, said_by_form
from relay.board.rows.jobs import JobRow
from relay.board.rows.left import left_rows
from relay.board.rows.reels import VersionRow
from relay.board.rows.view import View, Viewer
from relay.board.web import Told, shown
from relay.errors import RelayError
from relay.ledger.decision_words import Verdict
from relay.model import ReelName, VersionName
from relay.programme.reasons import reasons_of

PAGE = 50
"""Reels or jobs on one page: thousands stay quick."""

Search = Annotated[str, Query(max_length=200)]
Start = Annotated[int, Query(ge=0, le=1_000_000)]
Entry = Annotated[int, Query(ge=0, le=2**53)]
Which = Literal["open", "mine", "late", "all"]

router = APIRouter(include_in_schema=False)


@router.get("/")
async def now(request: Request, viewer: Asking) -> Response:
    return await shown(request, viewer, "now.html", lambda board, viewer: {"now": board.now(viewer)}, foresees=True)


@router.get("/reels")
async def reels(request: Request, viewer: Asking, q: Search = "", start: Start = 0) -> Response:
    def tell(board: Board, viewer: Viewer) -> Told:
        rows = board.reels(viewer)
        words = q.casefold().split()
        found = [row for row in rows if all(word in row.haystack for word in words)] if words else rows
        longest = max((row.strip.length for row in rows), default=1)
        return {**_window(q, start, found), "of": len(rows), "longest": longest}

    return await shown(request, viewer, "reels.html", tell, foresees=True)


def _window(q: str, start: int, found: Sequence[Any]) -> Told:
    return {"q": q, "start": start, "step": PAGE, "found": len(found), "rows": found[start : start + PAGE]}


@router.get("/reels/{element}/{reel}")
async def reel(
    request: Request, viewer: Asking, element: str, reel: str, before: str = "", after: str = ""
) -> Response:
    name = ReelName(f"{element}/{reel}")

    def tell(board: Board, viewer: Viewer) -> Told:
        changes = board.compared(viewer, before, after) if before and after else None
        return {**_of_reel(board, viewer, name), "changes": changes, "before": before, "after": after}

    return await shown(request, viewer, "reel.html", tell, ahead=not (before or after))


def _of_reel(board: Board, viewer: Viewer, name: ReelName) -> Told:
    (row, versions), view = board.reel(viewer, name), board.seen(viewer)[1]
    return {
        "row": row,
        "versions": versions,
        "jobs": [job for job in board.jobs(viewer) if job.reel == name],
        "lines": board.lines(viewer, reel=name, most=200),
        "material": board.material(viewer, name),
        **_findings(board, viewer, versions),
        "left": left_rows(view, name),
        "others": _others(view, name),
        "verdicts": get_args(Verdict),
        "reasons": reasons_of(view.state.film()),
    }


def _others(view: View, name: ReelName) -> list[VersionName]:
    """Return what a version of `name` may have been looked at beside: the same part of each print, the newest first."""
    part = name.partition("/")[2]
    prints = sorted(
        (reel for reel in view.state.newest if reel.partition("/")[2] == part), key=lambda reel: reel != name
    )
    return [each.name for reel in prints for each in reversed(view.state.of_reel(reel))]


def _findings(board: Board, viewer: Viewer, versions: tuple[VersionRow, ...]) -> dict[str, Any]:
    """Return what was found in the newest version that was looked at; or why that cannot be read now."""
    newest = next((each.version for each in versions if each.looks), None)
    if newest is None:
        return {"looked_at": None}
    try:
        report = board.findings(viewer, newest)
    except RelayError as error:
        return {"looked_at": newest, "findings": (), "unread": str(error)}
    return {"looked_at": newest, "findings": report.findings, "unread": ""}


def chosen(rows: tuple[JobRow, ...], which: Which, site: str | None) -> list[JobRow]:
    """Return the jobs of one kind: those that are not over, this site's, the late ones, or all."""
    match which:
        case "open":
            return [row for row in rows if not row.is_over]
        case "mine":
            return [row for row in rows if not row.is_over and _is_mine(row, site)]
        case "late":
            return [row for row in rows if row.is_late]
        case "all":
            return list(reversed(rows))


def _is_mine(row: JobRow, site: str | None) -> bool:
    return site is not None and (row.holder == site or (row.move is not None and row.move.site == site))


@router.get("/jobs")
async def jobs(request: Request, viewer: Asking, which: Which = "open", q: Search = "", start: Start = 0) -> Response:
    def tell(board: Board, viewer: Viewer) -> Told:
        rows = chosen(board.jobs(viewer), which, viewer.site)
        words = q.casefold().split()
        found = [row for row in rows if all(word in _haystack(row) for word in words)]
        return {**_window(q, start, found), "of": len(rows), "which": which}

    return await shown(request, viewer, "jobs.html", tell)


def _haystack(row: JobRow) -> str:
    move = row.move.words if row.move else ""
    return f"{row.job} {row.standing} {row.holder or ''} {move} {' '.join(row.mind)}".casefold()


@router.get("/sites")
async def sites(request: Request, viewer: Asking) -> Response:
    return await shown(request, viewer, "sites.html", lambda board, viewer: {"now": board.now(viewer)})


@router.get("/ledger")
async def ledger(request: Request, viewer: Asking, before: Entry | None = None) -> Response:
    def tell(board: Board, viewer: Viewer) -> Told:
        return {"lines": board.lines(viewer, before=before, most=PAGE), "step": PAGE}

    return await shown(request, viewer, "ledger.html", tell)


@router.post("/act")
async def act(request: Request, viewer: Asking) -> Response:
    """Say something from a form, for browsers whose script does not run; then show the page that it came from."""
    return await said_by_form(
        request, lambda form: board_of(request).actors.say(viewer, Act.model_validate(form)).words
    )
