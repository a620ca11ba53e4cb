"""The web application: its parts put together, and where an error becomes a sentence with a status."""

import asyncio
import secrets
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.sessions import SessionMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware

from relay import __version__
from relay.board import api, comparing, covering, deciding, door, figures, foretelling, live, pages, pictures, pinning
from relay.board.desk import Board
from relay.board.door import AskedInError, NotYoursError
from relay.board.guard import Bounded, Headed
from relay.board.sheets import Sheets
from relay.board.web import page, warm
from relay.errors import BrokenError, LostRaceError, MissingError, RefusedError, RelayError, TransientError

STATIC = Path(__file__).with_name("static")
SESSION_LASTS = 14 * 24 * 3600
"""Seconds."""

_STATUS: tuple[tuple[type[RelayError], int, str], ...] = (
    (LostRaceError, 409, "moved on"),
    (RefusedError, 422, "refused"),
    (MissingError, 404, "missing"),
    (TransientError, 503, "away"),
    (BrokenError, 500, "broken"),
)


def board_app(board: Board, *, hosts: Sequence[str], secret: str, is_secure: bool) -> FastAPI:
    """Return the application. `hosts`: the names it answers to; `is_secure`: whether people come by HTTPS."""
    app = FastAPI(
        title="Relay's board",
        version=__version__,
        description="The facts behind the pages: reels, jobs, sites, the ledger; and what may be said about jobs.",
        docs_url=None,  # the library's pages fetch their script from elsewhere
        redoc_url=None,
        lifespan=_lifespan,
    )
    app.state.board, app.state.start = board, secrets.token_hex(8)
    app.state.sheets = Sheets()
    app.state.listening, app.state.is_stopping, app.state.ready = 0, False, board.watch.picture
    for part in (door, pages, covering, comparing, pinning, deciding, foretelling, api, live, figures, pictures):
        app.include_router(part.router)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    name = f"relay-{board.seat.site}-{'s' if is_secure else 'h'}"
    app.add_middleware(
        SessionMiddleware, secret_key=secret, session_cookie=name, max_age=SESSION_LASTS, https_only=is_secure
    )
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=6)
    app.add_middleware(Bounded)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=list(hosts))
    app.add_middleware(Headed)
    _tell_errors(app)
    return app


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    board = app.state.board
    await run_in_threadpool(warm, board)
    board.watch.start()
    renewing = asyncio.create_task(live.renewing(app))
    yield
    app.state.is_stopping = True
    await renewing
    board.watch.stop()


def _tell_errors(app: FastAPI) -> None:
    app.add_exception_handler(RelayError, _of_ours)
    app.add_exception_handler(AskedInError, _asked_in)
    app.add_exception_handler(NotYoursError, _not_yours)
    app.add_exception_handler(RequestValidationError, _unclear)
    app.add_exception_handler(HTTPException, _of_the_web)


def _told(request: Request, status: int, kind: str, words: str) -> Response:
    if request.url.path.startswith("/api/"):
        return JSONResponse({"kind": kind, "words": words}, status_code=status)
    return page(request, "fault.html", status=status, kind=kind, words=words)


def _of_ours(request: Request, error: Exception) -> Response:
    status, kind = next((status, kind) for family, status, kind in _STATUS if isinstance(error, family))
    answer = _told(request, status, kind, str(error))
    if status == 503:
        answer.headers["retry-after"] = "5"
    return answer


def _asked_in(request: Request, _error: Exception) -> Response:
    if request.method == "GET" and not request.url.path.startswith(("/api/", "/live", "/metrics")):
        return RedirectResponse("/enter", status_code=303)
    return JSONResponse({"kind": "door", "words": "nobody is signed in: open the board and sign in"}, status_code=401)


def _not_yours(request: Request, error: Exception) -> Response:
    return _told(request, 403, "not yours", str(error))


def _unclear(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"])
    return _told(request, 422, "refused", f"this cannot be granted: {where}: {first['msg']}")


def _of_the_web(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {404: "there is no such page", 405: "that is not done this way"}.get(error.status_code, error.detail)
    answer = _told(request, error.status_code, "missing", words)
    answer.headers.update(error.headers or {})
    return answer
