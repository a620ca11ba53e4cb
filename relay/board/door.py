"""Who is asking: a session in a signed cookie, looked up again at every request; signing in, signing out, links."""

import secrets
from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Literal
from urllib.parse import parse_qsl

from fastapi import APIRouter, Depends, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import TypeAdapter, ValidationError
from starlette.concurrency import run_in_threadpool

from relay.board.desk import Board
from relay.board.guard import is_token
from relay.board.people import LONGEST_PASSWORD
from relay.board.rows.view import Viewer
from relay.board.web import page
from relay.errors import RefusedError, RelayError
from relay.model import Frozen
from relay.settings import first_fault

Way = Literal["here", "person", "link"]


class Session(Frozen):
    """What the cookie says; whether it still counts is looked up."""

    way: Way
    name: str
    since: str = ""
    """For a person: since when their password counts. For a link: its digest. Here: which start of the board."""
    token: str


_SESSIONS = TypeAdapter(Session)
BEARER = "Bearer "


class AskedInError(Exception):
    """Nobody is signed in: a page shows the door, a script is told 401."""


class NotYoursError(Exception):
    """Somebody is signed in, and may not do that: 403."""

    def __init__(self, words: str) -> None:
        super().__init__(words)
        self.words = words


def board_of(request: Request) -> Board:
    board: Board = request.app.state.board
    return board


def _session(request: Request) -> Session | None:
    try:
        return _SESSIONS.validate_python(request.session.get("relay"))
    except ValidationError:
        return None


def here(board: Board) -> Viewer:
    """Return whoever sits at this machine: the site in whose home the board runs."""
    is_ruler = board.watch.picture.state.film().coordinator == board.seat.site
    return Viewer(name=board.seat.site, role="coordinator" if is_ruler else "site", site=board.seat.site)


def _known(board: Board, session: Session, start: str) -> Viewer | None:
    now = board.clock.now()
    match session.way:
        case "here":
            return here(board) if session.since == start else None
        case "link":
            link = board.people.link(session.since, now)
            return link.viewer() if link else None
        case "person":
            person = board.people.person(session.name, datetime.fromisoformat(session.since))
            return person.viewer() if person else None


def viewer_of(request: Request) -> Viewer:
    """Return who is asking. Raises AskedInError."""
    board = board_of(request)
    bearer = request.headers.get("authorization", "")
    if bearer.startswith(BEARER):
        link = board.people.by_link(bearer.removeprefix(BEARER), board.clock.now())
        if link is not None and link.role == "machine":
            return link.viewer()
        raise AskedInError
    session = _session(request)
    viewer = _known(board, session, request.app.state.start) if session else None
    if viewer is None:
        raise AskedInError
    return viewer


async def _asking(request: Request) -> Viewer:
    return viewer_of(request)  # no thread for it: what it looks up is in memory


Asking = Annotated[Viewer, Depends(_asking)]


def token_of(request: Request) -> str:
    """Return the token that every form of this session carries; empty where there is no session."""
    session = _session(request)
    return session.token if session else ""


def check_token(request: Request, shown: str) -> None:
    """Raise NotYoursError unless `shown` is this session's token: then the board's own page asked."""
    token = token_of(request)
    if not token or not is_token(shown, token):
        raise NotYoursError("this form is from another session: open the page again, then say it once more")


def _open(request: Request, way: Way, name: str, since: str) -> RedirectResponse:
    session = Session(way=way, name=name, since=since, token=secrets.token_hex(32))
    request.session.clear()
    request.session["relay"] = session.model_dump()
    return RedirectResponse("/", status_code=303)


async def said_by_form(request: Request, say: Callable[[dict[str, str]], str]) -> Response:
    """Let `say` say what a form asks for, for browsers whose script does not run; then show the page it came from.

    `say` returns what became of it in words; a refusal is told on that page. Raises RefusedError for what is no such
    form, NotYoursError for another page's.
    """
    form, board = await form_of(request), board_of(request)
    check_token(request, form.pop("token", ""))
    back = _own_path(form.pop("back", "/"))
    try:
        request.session["said"] = await run_in_threadpool(say, form)
        board.watch.look_now()
    except ValidationError as error:
        raise RefusedError(f"this cannot be said: {first_fault(error)}") from error
    except RelayError as error:
        request.session["said"] = f"Not said: {error}"
    return RedirectResponse(back, status_code=303)


def _own_path(text: str) -> str:
    """Return `text` where it is a path of this board, else the first page: nobody is sent elsewhere."""
    is_ours = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable() and len(text) < 500
    return text if is_ours else "/"


async def form_of(request: Request) -> dict[str, str]:
    """Return the fields of a form that say something; of one that is there several times, each on a line.

    Raises RefusedError for what is none.
    """
    try:
        body = (await request.body()).decode("utf-8")
        pairs = parse_qsl(body, keep_blank_values=False, max_num_fields=50, strict_parsing=bool(body))
    except (UnicodeDecodeError, ValueError) as error:
        raise RefusedError("this is no form of the board's: open the page again") from error
    fields: dict[str, list[str]] = {}
    for name, value in pairs:
        fields.setdefault(name, []).append(value)
    return {name: "\n".join(values) for name, values in fields.items()}


router = APIRouter(include_in_schema=False)


@router.get("/enter")
def door(request: Request, key: str = "") -> Response:
    """Let in whoever has a link, and take its secret out of the address; else show the door."""
    board = board_of(request)
    if not key:
        return page(request, "enter.html", status=200, wrong="", waits=0)
    if board.once.is_used_up_by(key):
        return _open(request, "here", board.seat.site, request.app.state.start)
    link = board.people.by_link(key, board.clock.now())
    if link is None or link.role != "guest":
        said = "This link does not open the board: it was used, or is over. Ask whoever sent it for a new one."
        return page(request, "enter.html", status=403, wrong=said, waits=0)
    return _open(request, "link", link.name, link.secret)


@router.post("/enter")
async def enter(request: Request) -> Response:
    """Sign in with a name and a password."""
    board, form = board_of(request), await form_of(request)
    name, password = form.get("name", "")[:400], form.get("password", "")[: LONGEST_PASSWORD + 1]
    keys = (f"name {name.casefold()}", f"address {request.client.host if request.client else ''}")
    if waits := board.tries.wait(*keys):
        answer = page(request, "enter.html", status=429, wrong="", waits=int(waits) + 1)
        answer.headers["retry-after"] = str(int(waits) + 1)
        return answer
    from starlette.concurrency import run_in_threadpool

    person = await run_in_threadpool(board.people.signed_in, name, password)
    if person is None:
        board.tries.failed(*keys)
        return page(request, "enter.html", status=403, wrong="No such name, or another password.", waits=0)
    board.tries.forget(*keys)
    return _open(request, "person", person.name, person.since.isoformat())


@router.post("/leave")
async def leave(request: Request) -> Response:
    """Sign out."""
    form = await form_of(request)
    check_token(request, form.get("token", ""))
    request.session.clear()
    return RedirectResponse("/enter", status_code=303)
