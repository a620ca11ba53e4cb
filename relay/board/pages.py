"""The pages: Now, Reels, a reel, Jobs, Sites, Ledger. Each shows the rows that the JSON interface gives."""

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
from relay.board.web import page
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


def frame_of(request: Request, viewer: Viewer) -> dict[str, Any]:
    board = board_of(request)
    _, view = board.seen(viewer)
    return {"viewer": viewer, "view": view, "speaks": board.actors.speaks_for(viewer.site)}


@router.get("/")
def now(request: Request, viewer: Asking) -> Response:
    return page(request, "now.html", **frame_of(request, viewer), now=board_of(request).now(viewer))


@router.get("/reels")
def reels(request: Request, viewer: Asking, q: Search = "", start: Start = 0) -> Response:
    rows = board_of(request).reels(viewer)
    words = q.casefold().split()
    found = [row for row in rows if all(word in row.haystack for word in words)] if words else rows
    longest = max((row.strip.length for row in rows), default=1)
    shown = found[start : start + PAGE]
    window: dict[str, Any] = {"q": q, "start": start, "step": PAGE, "found": len(found), "of": len(rows)}
    return page(request, "reels.html", **frame_of(request, viewer), rows=shown, longest=longest, **window)


@router.get("/reels/{element}/{reel}")
def reel(request: Request, viewer: Asking, element: str, reel: str, before: str = "", after: str = "") -> Response:
    board, name = board_of(request), ReelName(f"{element}/{reel}")
    row, versions = board.reel(viewer, name)
    jobs = [job for job in board.jobs(viewer) if job.reel == name]
    lines = board.lines(viewer, reel=name, most=200)
    changes = board.compared(viewer, before, after) if before and after else None
    seen: dict[str, Any] = {"material": board.material(viewer, name)} | _findings(board, viewer, versions)
    view = board.seen(viewer)[1]
    seen |= {"left": left_rows(view, name), "others": _others(view, name)}
    told: dict[str, Any] = {"row": row, "versions": versions, "jobs": jobs, "lines": lines}
    told |= {"verdicts": get_args(Verdict), "reasons": reasons_of(view.state.film())}
    asked: dict[str, Any] = {"changes": changes, "before": before, "after": after}
    return page(request, "reel.html", **frame_of(request, viewer), **told, **asked, **seen)


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
def jobs(request: Request, viewer: Asking, which: Which = "open", q: Search = "", start: Start = 0) -> Response:
    rows = chosen(board_of(request).jobs(viewer), which, viewer.site)
    words = q.casefold().split()
    found = [row for row in rows if all(word in _haystack(row) for word in words)]
    shown = found[start : start + PAGE]
    window: dict[str, Any] = {
        "q": q,
        "which": which,
        "start": start,
        "step": PAGE,
        "found": len(found),
        "of": len(rows),
    }
    return page(request, "jobs.html", **frame_of(request, viewer), rows=shown, **window)


def _haystack(row: JobRow) -> str:
    move = row.move.words if row.move else ""
    return f"{row.job} {row.standing} {row.holder or ''} {move} {' '.join(row.mind)}".casefold()


@router.get("/sites")
def sites(request: Request, viewer: Asking) -> Response:
    board = board_of(request)
    return page(request, "sites.html", **frame_of(request, viewer), now=board.now(viewer))


@router.get("/ledger")
def ledger(request: Request, viewer: Asking, before: Entry | None = None) -> Response:
    lines = board_of(request).lines(viewer, before=before, most=PAGE)
    return page(request, "ledger.html", **frame_of(request, viewer), lines=lines, step=PAGE)


@router.post("/act")
async def act(request: Request, viewer: Asking) -> Response:
    """Say something from a form, for browsers whose script does not run; then show the page that it came from."""
    return await said_by_form(
        request, lambda form: board_of(request).actors.say(viewer, Act.model_validate(form)).words
    )
