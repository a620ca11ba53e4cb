"""Pages out of templates: everything that strangers wrote is escaped, and every page says what the frame needs."""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from relay.board.rows.reels import ReelRow
from relay.board.rows.view import View, Viewer
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
        "reel_in": reel_in,
        "timed": timed_at,
        "span": span_in_words,
        "size": bytes_in_words,
        "frames": in_words,
        "percent": percent,
    }
    made.globals |= {"count": count, "moment": moment, "at": at, "there": there, "stamp": stamp}
    made.globals |= {"new_op": lambda: OP, "ago": ago, "site_in": site_in, "whose": whose}
    return made


def coded(text: str) -> Markup:
    """Return `text` escaped, with what stands between backquotes as code."""
    parts = text.split("`")
    if len(parts) % 2 == 0:
        return escape(text)
    shown = (Markup("<code>{}</code>").format(part) if at % 2 else escape(part) for at, part in enumerate(parts))
    return Markup("").join(shown)


def timed_at(text: str, view: View | None = None, site: str | None = None) -> Markup:
    """Return `text` escaped, with each time that it tells in UTC as `at` shows it."""
    return timed(text, *_place(view, site)) if view else timed(text)


def timed(text: str, zone: ZoneInfo | None = None, place: str = "") -> Markup:
    """Return `text` escaped, with each time that it tells in UTC as `moment` shows it."""

    def told(found: re.Match[str]) -> str:
        when = datetime.strptime(found[1], "%Y-%m-%d %H:%M").replace(tzinfo=UTC)
        return str(moment(when, zone, place))

    return Markup(_WRITTEN.sub(told, str(escape(text))))  # noqa: S704  all of it was escaped just now


def reel_in(job: str) -> str:
    """Return the reel in the name of a job."""
    return "/".join(job.split("/")[1:3])


def percent(part: float, whole: float) -> str:
    """Return how much of `whole` is `part`, as a length in a drawing."""
    return f"{100 * part / whole:.3f}%" if whole else "0%"


def moment(when: datetime, zone: ZoneInfo | None = None, place: str = "") -> Markup:
    """Return an instant as people read it: in UTC, which the page turns into the reader's own, and in a site's."""
    own = ""
    if zone is not None and place:
        local = f"{when.astimezone(zone):%a %H:%M} {escape(place)}"
        own = f' <span class="own" data-in="{escape(zone.key)}">{local}</span>'
    shown = f'<time datetime="{when:%Y-%m-%dT%H:%M:%SZ}">{when:%-d %b %H:%M} UTC</time>{own}'
    return Markup(shown)  # noqa: S704  all that strangers wrote of it was escaped


def at(when: datetime, view: View, site: str | None) -> Markup:
    """Return an instant as `moment` shows it, with that of `site` beside; alone where nobody knows whose it is."""
    return moment(when, *_place(view, site))


def there(when: datetime, view: View, site: str | None) -> Markup:
    """Return the same where the site was just named."""
    zone, _ = _place(view, site)
    return moment(when, zone, "there")


def stamp(when: datetime, view: View, site: str | None) -> str:
    """Return the same as text for a tooltip or a drawing's description, where the page turns UTC into the reader's."""
    zone, place = _place(view, site)
    own = f" ({when.astimezone(zone):%a %H:%M} {place})" if zone else ""
    return f"{when:%Y-%m-%d %H:%M} UTC{own}"


def _place(view: View, site: str | None) -> tuple[ZoneInfo | None, str]:
    return (view.zone_of(site), f"in {view.title_of(site)}") if site and view.film.site(site) else (None, "")


def site_in(text: str, view: View) -> str | None:
    """Return the first site that a sentence of the forecast names."""
    words = text.split()
    return next((word for word in words if view.film.site(word)), None)


def whose(word: str, row: ReelRow) -> str | None:
    """Return the site that has the move at the stage that something to mind on a reel begins with."""
    return next((move.site for move in row.moves if word.startswith(f"{move.stage} ")), None)


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
    request: Request,
    viewer: Viewer,
    template: str,
    tell: Callable[["Board", Viewer], Told],
    *,
    ahead: bool = True,
    foresees: bool = False,
) -> Response:
    """Return a page of what `tell` says, kept for all who see the same: it is given nobody's name, and no request.

    What `tell` says may hold a `status` beside what the template needs. `ahead`: render it after each change before
    anybody asks; not where that costs more than a look at what is known. `foresees`: it shows something of the
    forecast, and another forecast changes it.
    """
    board: Board = request.app.state.board
    board.watch.asked()
    everyone, speaks, path = nameless(viewer), board.actors.speaks_for(viewer.site), request.url.path

    def render() -> Sheet:
        picture, view = board.seen(everyone)
        frame = {"viewer": everyone, "view": view, "speaks": speaks, "picture": picture, "time": view.now}
        return _sheet(request.app.version, template, path, {**frame, **tell(board, everyone)})

    key = (path, request.url.query, everyone, speaks)
    known = partial(known_of, board, foresees=foresees)
    sheet = await request.app.state.sheets.get(known, key, render, ahead=ahead)
    return _bare(request, sheet) if request.headers.get(ANEW) else _given(request, sheet, viewer.name)


def known_of(board: "Board", *, foresees: bool = True) -> tuple[object, ...]:
    """Return what tells the present moment from every other at which a page could look otherwise.

    Not `foresees`: a page that shows nothing of the forecast.
    """
    picture = board.watch.picture
    heard = picture.heard and picture.heard.replace(second=0, microsecond=0)
    return (
        picture.number if foresees else picture.facts,
        board.seat.ledger.now().replace(second=0, microsecond=0),
        heard,
    )


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

    text = sheet.filled(token=token_of(request), name=name, said=timed(request.session.pop("said", "")))
    return HTMLResponse(text, status_code=sheet.status)


def _bare(request: Request, sheet: Sheet) -> Response:
    if "gzip" not in request.headers.get("accept-encoding", ""):
        return HTMLResponse(sheet.bare, status_code=sheet.status)
    headers = {"content-encoding": "gzip", "vary": "Accept-Encoding"}
    return HTMLResponse(sheet.zipped, status_code=sheet.status, headers=headers)
