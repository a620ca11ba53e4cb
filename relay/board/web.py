"""Pages out of templates: everything that strangers wrote is escaped, and every page says what the frame needs."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse
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
    own = Markup("")
    if zone is not None and town:
        local = at.astimezone(zone)
        own = Markup(' <span class="own">{} in {}</span>').format(f"{local:%a %H:%M}", town)
    return Markup('<time datetime="{}">{} UTC</time>{}').format(f"{at:%Y-%m-%dT%H:%M:%SZ}", f"{at:%-d %b %H:%M}", own)


def ago(at: datetime, now: datetime) -> str:
    """Return how long ago `at` is, or in how long it will be."""
    if abs(now - at) < timedelta(minutes=1):
        return "just now"
    return f"{span_in_words(now - at)} ago" if at < now else f"in {span_in_words(at - now)}"


def warm() -> None:
    """Compile every template, so that nobody who opens a page waits for it."""
    for name in _environment().list_templates(extensions=["html"]):
        _environment().get_template(name)


async def shown(
    request: Request, viewer: Viewer, template: str, tell: Callable[["Board", Viewer], Told]
) -> HTMLResponse:
    """Return a page of what `tell` says, kept for all who see the same: it is given nobody's name, and no request.

    What `tell` says may hold a `status` beside what the template needs.
    """
    board: Board = request.app.state.board
    board.watch.asked()
    everyone, picture, now = nameless(viewer), board.watch.picture, board.seat.ledger.now()
    speaks, path = board.actors.speaks_for(viewer.site), request.url.path
    heard = picture.heard and picture.heard.replace(second=0, microsecond=0)
    known = (picture.number, now.replace(second=0, microsecond=0), heard)

    def render() -> Sheet:
        _, view = board.seen(everyone)
        frame = {"viewer": everyone, "view": view, "speaks": speaks, "picture": picture, "time": now}
        return _sheet(request, template, path, {**frame, **tell(board, everyone)})

    sheet = await request.app.state.sheets.get(known, (path, request.url.query, everyone, speaks), render)
    return _given(request, sheet, viewer.name)


def page(request: Request, template: str, *, status: int = 200, **told: Any) -> HTMLResponse:
    """Return a page that is kept for nobody, of what needs no viewer: the door, a fault."""
    board = request.app.state.board
    frame = {"viewer": None, "picture": board.watch.picture, "time": board.seat.ledger.now(), "status": status}
    return _given(request, _sheet(request, template, request.url.path, frame | told), "")


def _sheet(request: Request, template: str, path: str, told: Told) -> Sheet:
    frame = {"path": path, "token": TOKEN, "said": SAID, "version": request.app.version}
    return Sheet.of(_environment().get_template(template).render(frame | told), told.get("status", 200))


def _given(request: Request, sheet: Sheet, name: str) -> HTMLResponse:
    from relay.board.door import token_of

    text = sheet.filled(token=token_of(request), name=name, said=request.session.pop("said", ""))
    return HTMLResponse(text, status_code=sheet.status)
