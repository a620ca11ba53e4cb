"""What stands between strangers and the board: headers on answers, a bound on questions, tries at the door."""

import secrets
from collections import OrderedDict
from collections.abc import Mapping
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from relay.clock import Clock

LARGEST_BODY = 64 * 1024
"""Bytes. The longest note is 4,000 characters."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

_HEADERS: Mapping[str, str] = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}


class Headed:
    """Puts the headers on every answer, and keeps every answer out of caches but our own assets and pictures."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def headed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(_HEADERS)
                if not scope["path"].startswith("/static/"):
                    headers.setdefault("cache-control", "no-store")
            await send(message)

        await self._app(scope, receive, headed)


class Bounded:
    """Refuses what is too large, and what another site's page sends."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] in {"GET", "HEAD", "OPTIONS"}:
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        if _is_foreign(headers):
            await _refusal(403, "this came from another page than the board's own: open the board and say it there")(
                scope, receive, send
            )
            return
        body = await _read(receive)
        if body is None:
            await _refusal(413, f"this is too long: at most {LARGEST_BODY} bytes can be said at once")(
                scope, receive, send
            )
            return
        await self._app(scope, _once(body, receive), send)


def _is_foreign(headers: Headers) -> bool:
    """Answer whether a browser says that the request comes from elsewhere (Fetch Metadata, or RFC 6454)."""
    if headers.get("sec-fetch-site", "same-origin") not in {"same-origin", "none"}:
        return True
    origin = headers.get("origin")
    return origin is not None and urlsplit(origin).netloc != headers.get("host")


async def _read(receive: Receive) -> bytes | None:
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return bytes(body)
        body += message.get("body", b"")
        if len(body) > LARGEST_BODY:
            return None
        if not message.get("more_body", False):
            return bytes(body)


def _once(body: bytes, receive: Receive) -> Receive:
    told = False

    async def replayed() -> Message:
        nonlocal told
        if told:
            return await receive()
        told = True
        return {"type": "http.request", "body": body, "more_body": False}

    return replayed


def _refusal(status: int, words: str) -> JSONResponse:
    return JSONResponse({"kind": "refused", "words": words}, status_code=status)


class Tries:
    """Counts failed tries at the door, for each name and for each address: five, then a minute's rest for each more."""

    FREE = 5
    REST = 60.0
    """Seconds."""
    REMEMBERED = 10_000

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._failed: OrderedDict[str, tuple[int, float]] = OrderedDict()

    def wait(self, *keys: str) -> float:
        """Return for how many seconds no further try is heard; 0: now."""
        return max(self._left(key) for key in keys)

    def _left(self, key: str) -> float:
        count, last = self._failed.get(key, (0, 0.0))
        if count < self.FREE:
            return 0.0
        return max(0.0, last + self.REST * min(count - self.FREE + 1, 15) - self._clock.ticks())

    def failed(self, *keys: str) -> None:
        """Remember a failed try."""
        for key in keys:
            count, _ = self._failed.pop(key, (0, 0.0))
            self._failed[key] = (count + 1, self._clock.ticks())
        while len(self._failed) > self.REMEMBERED:
            self._failed.popitem(last=False)

    def forget(self, *keys: str) -> None:
        """Forget the tries of somebody who got in."""
        for key in keys:
            self._failed.pop(key, None)


def masked(token: str) -> str:
    """Return `token` as no two pages show it, so that how well pages are compressed tells nothing about it."""
    plain = bytes.fromhex(token)
    mask = secrets.token_bytes(len(plain))
    return (mask + bytes(a ^ b for a, b in zip(mask, plain, strict=True))).hex()


def is_token(shown: str, token: str) -> bool:
    """Answer whether `shown` is `token` under some mask."""
    try:
        both = bytes.fromhex(shown)
    except ValueError:
        return False
    half = len(both) // 2
    plain = bytes(a ^ b for a, b in zip(both[:half], both[half:], strict=False))
    return secrets.compare_digest(plain.hex(), token)
