"""What each print covers, as a page: the drawing that goes to archives, and beside it the same as tables."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from relay.board.door import Asking, board_of
from relay.board.pages import frame_of
from relay.board.web import page
from relay.model import frame_count
from relay.programme.coverage import Covered
from relay.programme.coverage_picture import coverage_svg

router = APIRouter(include_in_schema=False)


@router.get("/coverage")
def first(request: Request, viewer: Asking) -> Response:
    """Show the first element that was put beside another; or that none was."""
    codes = board_of(request).covered_elements(viewer)
    return _page(request, viewer, codes[0] if codes else None)


@router.get("/coverage/{element}.svg")
def drawing(request: Request, viewer: Asking, element: str) -> Response:
    """Draw an element's reels. Raises RefusedError, MissingError, TransientError."""
    board = board_of(request)
    title = f"{board.seen(viewer)[1].film.title}: what each print holds"
    body = coverage_svg(board.coverage(viewer, element), title)
    return Response(body, media_type="image/svg+xml", headers={"cache-control": "private, no-cache"})


@router.get("/coverage/{element}")
def along(request: Request, viewer: Asking, element: str) -> Response:
    """Show an element's reels, each print a strip."""
    return _page(request, viewer, element)


def _page(request: Request, viewer: Asking, code: str | None) -> Response:
    board = board_of(request)
    codes = board.covered_elements(viewer)
    reels = board.coverage(viewer, code) if code else ()
    told = [(reel, _rows(reel)) for reel in reels]
    return page(request, "coverage.html", **frame_of(request, viewer), codes=codes, code=code, reels=told)


def _rows(reel: Covered) -> list[dict[str, object]]:
    return [
        {
            "name": strip.name,
            "kind": strip.kind,
            "share": f"{100 * strip.share(reel.axis):.1f} %",
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
