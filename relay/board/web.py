"""Pages out of templates: everything that strangers wrote is escaped, and every page says what the frame needs."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from relay.board.rows.view import Viewer
from relay.board.sheets import OP, SAID, TOKEN, Sheet, nameless
from relay.wording import bytes_in_words, count, in_words, span_in_words

if TYPE_CHECKING:
    from relay.board.desk import Board

Told = dict[str, Any]
_WRITTEN = re.compile(r"(?:[A-Z][a-z]{2} )?(\d{4}-\d\d-\d\d \d\d:\d\d) UTC")
DAY = timedelta(days=1)
ANEW = "x-relay-anew"
"""The header of a page's script that asks for its page anew: what belongs to its session it fills in itself."""


@lru_cache(maxsize=1)
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("relay.board"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,  # an upgrade beside a board that runs must not mix its pages with the old code
    )
    made.filters |= {
        "coded": coded,
        "timed": timed,
        "span": span_in_words,
        "size": bytes_in_words,
        "frames": in_words,
        "percent": percent,
    }
    made.globals |= {"count": count, "moment": moment, "new_op": lambda: OP, "ago": ago}
    return made


def coded(text: str) -> Markup:
    """Return `text` escaped, with what stands between backquotes as code."""
    parts = text.split("`")
    if len(parts) % 2 == 0:
        return escape(text)
    shown = (Markup("<code>{}</code>").format(part) if at % 2 else escape(part) for at, part in enumerate(parts))
    return Markup("").join(shown)


def timed(text: str, zone: ZoneInfo | None = None, town: str = "") -> Markup:
    """Return `text` escaped, with each time that it tells in UTC as `moment` shows it."""

    def told(found: re.Match[str]) -> str:
        at = datetime.strptime(found[1], "%Y-%m-%d %H:%M").replace(tzinfo=UTC)
        return str(moment(at, zone, town))

    return Markup(_WRITTEN.sub(told, str(escape(text))))  # noqa: S704  all of it was escaped just now


def percent(part: float, whole: float) -> str:
    """Return how much of `whole` is `part`, as a length in a drawing."""
    return f"{100 * part / whole:.3f}%" if whole else "0%"


def moment(at: datetime, zone: ZoneInfo | None = None, town: str = "") -> Markup:
    """Return an instant as people read it: in UTC, which the page turns into the reader's own, and in a site's."""
    own = ""
    if zone is not None and town:
        own = f' <span class="own">{at.astimezone(zone):%a %H:%M} in {escape(town)}</span>'
    shown = f'<time datetime="{at:%Y-%m-%dT%H:%M:%SZ}">{at:%-d %b %H:%M} UTC</time>{own}'
    return Markup(shown)  # noqa: S704  all that strangers wrote of it was escaped


def ago(at: datetime, now: datetime) -> str:
    """Return how long ago `at` is, or in how long it will be."""
    if abs(now - at) < timedelta(minutes=1):
        return "just now"
    return f"{span_in_words(now - at)} ago" if at < now else f"in {span_in_words(at - now)}"


def warm(board: "Board") -> None:
    """Compile every template and reckon the rows of most pages, so that nobody who opens one first waits for it."""
    for name in _environment().list_templates(extensions=["html"]):
        _environment().get_template(name)
    if board.watch.picture.state.production is not None:
        viewer = Viewer(name=board.seat.site, role="coordinator", site=board.seat.site)
        board.now(viewer)
        board.jobs(viewer)


async def shown(
    request: Request, viewer: Viewer, template: str, tell: Callable[["Board", Viewer], Told], *, ahead: bool = True
) -> Response:
    """Return a page of what `tell` says, kept for all who see the same: it is given nobody's name, and no request.

    What `tell` says may hold a `status` beside what the template needs. `ahead`: render it after each change before
    anybody asks; not where that costs more than a look at what is known.
    """
    board: Board = request.app.state.board
    board.watch.asked()
    everyone, speaks, path = nameless(viewer), board.actors.speaks_for(viewer.site), request.url.path

    def render() -> Sheet:
        picture, view = board.seen(everyone)
        frame = {"viewer": everyone, "view": view, "speaks": speaks, "picture": picture, "time": view.now}
        return _sheet(request.app.version, template, path, {**frame, **tell(board, everyone)})

    key = (path, request.url.query, everyone, speaks)
    sheet = await request.app.state.sheets.get(known_of(board), key, render, ahead=ahead)
    return _bare(request, sheet) if request.headers.get(ANEW) else _given(request, sheet, viewer.name)


def known_of(board: "Board") -> tuple[object, ...]:
    """Return what tells the present moment from every other at which a page could look otherwise."""
    picture = board.watch.picture
    heard = picture.heard and picture.heard.replace(second=0, microsecond=0)
    return picture.number, board.seat.ledger.now().replace(second=0, microsecond=0), heard


def page(request: Request, template: str, *, status: int = 200, **told: Any) -> HTMLResponse:
    """Return a page that is kept for nobody, of what needs no viewer: the door, a fault."""
    board = request.app.state.board
    frame = {"viewer": None, "picture": board.watch.picture, "time": board.seat.ledger.now(), "status": status}
    return _given(request, _sheet(request.app.version, template, request.url.path, frame | told), "")


def _sheet(version: str, template: str, path: str, told: Told) -> Sheet:
    frame = {"path": path, "token": TOKEN, "said": SAID, "version": version}
    return Sheet.of(_environment().get_template(template).render(frame | told), told.get("status", 200))


def _given(request: Request, sheet: Sheet, name: str) -> HTMLResponse:
    from relay.board.door import token_of

    text = sheet.filled(token=token_of(request), name=name, said=request.session.pop("said", ""))
    return HTMLResponse(text, status_code=sheet.status)


def _bare(request: Request, sheet: Sheet) -> Response:
    if "gzip" not in request.headers.get("accept-encoding", ""):
        return HTMLResponse(sheet.bare, status_code=sheet.status)
    headers = {"content-encoding": "gzip", "vary": "Accept-Encoding"}
    return HTMLResponse(sheet.zipped, status_code=sheet.status, headers=headers)
