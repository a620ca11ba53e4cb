"""Pictures of reels, and stills and papers: shown to whoever may see the reel, verified, and never as a page."""

from typing import Literal
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from relay.board.door import Asking, board_of
from relay.errors import BrokenError, MissingError
from relay.model import Digest
from relay.transfer.looked import newest_look

router = APIRouter(include_in_schema=False)

PNG, JPEG = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"
"""How such files begin (ISO/IEC 15948, ISO/IEC 10918-1): anything else is given to be kept, not shown."""

_FOR_A_DAY = {"cache-control": "private, max-age=86400, immutable"}


@router.get("/reels/{element}/{reel}/versions/{number}/{which}.png")
def picture(
    request: Request, viewer: Asking, element: str, reel: str, number: int, which: Literal["sheet", "strip"]
) -> Response:
    """Show the contact sheet or the strip of a version. Raises MissingError, BrokenError, TransientError."""
    board = board_of(request)
    _, view = board.seen(viewer)
    name = f"{element}/{reel}/v{number}"
    looked = newest_look(view.state.version(name))
    digest: Digest | None = looked.sheet if which == "sheet" else looked.strip
    if digest is None:
        raise MissingError(f"{name} has no {which}: it holds no numbered frames that could be decoded")
    return _png(
        board.shelf.body(digest), f"the {which} of {name} is no PNG: entry {looked.entry} of {looked.site} stored it"
    )


def _png(body: bytes, otherwise: str) -> Response:
    """Show a PNG. Raises BrokenError, which says `otherwise`, where it is none."""
    if not body.startswith(PNG):
        raise BrokenError(otherwise)
    return Response(body, media_type="image/png", headers=_FOR_A_DAY)


@router.get("/material/{entry}")
def material(request: Request, viewer: Asking, entry: int) -> Response:
    """Show a still, or give a paper to be kept. Raises MissingError, BrokenError, TransientError."""
    board = board_of(request)
    _, view = board.seen(viewer)
    kept = next((each for each in view.state.material if each.entry == entry), None)
    if kept is None:
        raise MissingError(f"entry {entry} keeps no still or paper that you may see")
    body = board.shelf.body(kept.object)
    kind = "image/png" if body.startswith(PNG) else "image/jpeg" if body.startswith(JPEG) else None
    if kind is not None:
        return Response(body, media_type=kind, headers=_FOR_A_DAY)
    saved = f"attachment; filename*=UTF-8''{quote(kept.name, safe='')}"
    return Response(body, media_type="application/octet-stream", headers={**_FOR_A_DAY, "content-disposition": saved})


@router.get("/left/{entry}/crops.png")
def crops(request: Request, viewer: Asking, entry: int) -> Response:
    """Show the crops, before and after, of the comparison in `entry`. Raises MissingError, BrokenError."""
    board = board_of(request)
    _, view = board.seen(viewer)
    seen = [each for each in view.state.comparisons if each.entry == entry and each.version in view.state.versions]
    digest = next((each.crops for each in seen), None)
    if digest is None:
        raise MissingError(f"entry {entry} compared nothing that you may see")
    return _png(board.shelf.body(digest), f"the crops of entry {entry} are no PNG: {seen[0].by} stored them")
