"""Pages out of templates: everything that strangers wrote is escaped, and every page says what the frame needs."""

import secrets
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from relay.board.guard import masked
from relay.wording import bytes_in_words, count, in_words, span_in_words

DAY = timedelta(days=1)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("relay.board"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {
        "coded": coded,
        "span": span_in_words,
        "size": bytes_in_words,
        "frames": in_words,
        "percent": percent,
    }
    made.globals |= {"count": count, "moment": moment, "new_op": lambda: secrets.token_hex(16), "ago": ago}
    return made


def coded(text: str) -> Markup:
    """Return `text` escaped, with what stands between backquotes as code."""
    parts = text.split("`")
    if len(parts) % 2 == 0:
        return escape(text)
    shown = (Markup("<code>{}</code>").format(part) if at % 2 else escape(part) for at, part in enumerate(parts))
    return Markup("").join(shown)


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


def page(request: Request, template: str, *, status: int = 200, **told: Any) -> HTMLResponse:
    """Return a page. The frame is told who looks, what is known, and the session's token under a fresh mask."""
    from relay.board.door import token_of

    token = token_of(request)
    frame = {
        "path": request.url.path,
        "token": masked(token) if token else "",
        "viewer": None,
        "picture": request.app.state.board.watch.picture,
        "said": request.session.pop("said", ""),
        "time": request.app.state.board.seat.ledger.now(),
        "version": request.app.version,
    }
    return HTMLResponse(_environment().get_template(template).render({**frame, **told}), status_code=status)
