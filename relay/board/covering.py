"""What each print covers, as a page: the drawing that goes to archives, and beside it the same as tables."""

from importlib.util import find_spec

from fastapi import APIRouter, Request
from fastapi.responses import Response

from relay.board.comparing import comparison_rows
from relay.board.desk import Board
from relay.board.door import Asking, board_of
from relay.board.pinning import pin_rows
from relay.board.rows.view import Viewer
from relay.board.web import Told, shown
from relay.errors import RefusedError
from relay.model import VersionName, frame_count, reel_of
from relay.programme.coverage import Covered, share_in_words
from relay.programme.coverage_picture import coverage_png, coverage_svg

router = APIRouter(include_in_schema=False)


@router.get("/coverage")
async def first(request: Request, viewer: Asking) -> Response:
    """Show the first element that was put beside another; or that none was."""
    return await shown(request, viewer, "coverage.html", _along)


@router.get("/coverage/{element}.svg")
def drawing(request: Request, viewer: Asking, element: str) -> Response:
    """Draw an element's reels. Raises RefusedError, MissingError, TransientError."""
    board = board_of(request)
    body = coverage_svg(board.coverage(viewer, element), _title(board, viewer))
    return Response(body, media_type="image/svg+xml", headers=_NOT_KEPT)


@router.get("/coverage/{element}.png")
def painting(request: Request, viewer: Asking, element: str) -> Response:
    """Draw them as PNG, for whom an SVG is strange to. Raises RefusedError too where Pillow is not installed."""
    board = board_of(request)
    reels = board.coverage(viewer, element)
    if not _has_pillow():
        raise RefusedError("a PNG needs Pillow, which is not installed where this board runs: take the SVG")
    return Response(coverage_png(reels, _title(board, viewer)), media_type="image/png", headers=_NOT_KEPT)


_NOT_KEPT = {"cache-control": "private, no-cache"}


def _title(board: Board, viewer: Viewer) -> str:
    return f"{board.seen(viewer)[1].film.title}: what each print holds"


def _has_pillow() -> bool:
    return find_spec("PIL") is not None


@router.get("/coverage/{element}")
async def along(request: Request, viewer: Asking, element: str) -> Response:
    """Show an element's reels, each print a strip."""
    return await shown(request, viewer, "coverage.html", lambda board, viewer: _along(board, viewer, element))


def _along(board: Board, viewer: Viewer, element: str | None = None) -> Told:
    codes = board.covered_elements(viewer)
    code = element or next(iter(codes), None)
    reels = board.coverage(viewer, code) if code else ()
    view = board.seen(viewer)[1]
    told = [
        (reel, _rows(reel), comparison_rows(view, name), pin_rows(view, reel_of(name)))
        for reel, name in ((reel, VersionName(reel.name)) for reel in reels)
    ]
    return {"codes": codes, "code": code, "reels": told, "has_png": _has_pillow()}


def _rows(reel: Covered) -> list[dict[str, object]]:
    return [
        {
            "name": strip.name,
            "kind": strip.kind,
            "share": share_in_words(strip, reel.axis),
            "lacking": strip.of("lacking"),
            "unsure": strip.of("not sure"),
            "unknown": strip.of("not known"),
            "lacks": frame_count(strip.of("lacking")),
            "by": strip.by,
            "decay": None if strip.decay is None else tuple(each.frames for each in strip.decay),
            "more": strip.inserts,
        }
        for strip in reel.strips
    ]
