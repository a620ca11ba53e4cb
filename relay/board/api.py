"""The same facts for scripts: JSON behind every page, described by /openapi.json."""

from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Request
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from relay.board.acting import Act, Acted
from relay.board.door import Asking, board_of, check_token
from relay.board.foretelling import Suppositions
from relay.board.pages import PAGE, Which, chosen
from relay.board.rows.foreseen import Foreseen
from relay.board.rows.jobs import JobRow
from relay.board.rows.ledger import LedgerLine
from relay.board.rows.now import Now
from relay.board.rows.reels import ReelRow, VersionRow
from relay.board.rows.sites import SiteRow
from relay.board.rows.view import Frames
from relay.model import Frozen, ReelName, VersionName

Start = Annotated[int, Query(ge=0, le=1_000_000)]
Most = Annotated[int, Query(ge=1, le=500)]
CodeInPath = Annotated[str, Path(pattern=r"^[A-Za-z0-9](?:[A-Za-z0-9_-]{0,22}[A-Za-z0-9])?$")]
VersionText = Annotated[str, Query(max_length=100)]


class Fault(BaseModel):
    """Why something was not done."""

    kind: str
    words: str


class Reels(Frozen):
    """Some reels of all."""

    entry: int
    found: int
    reels: tuple[ReelRow, ...]


class ReelPage(Frozen):
    """One reel with all its versions and jobs."""

    reel: ReelRow
    versions: tuple[VersionRow, ...]
    jobs: tuple[JobRow, ...]


class Jobs(Frozen):
    """Some jobs of all."""

    entry: int
    found: int
    jobs: tuple[JobRow, ...]


class Comparison(Frozen):
    """What one version changed against another, in the reel's own frames; other files by their paths."""

    before: VersionName
    after: VersionName
    added: Frames
    changed: Frames
    removed: Frames
    files_added: tuple[str, ...]
    files_changed: tuple[str, ...]
    files_removed: tuple[str, ...]


class Forecasts(Frozen):
    """Today's forecast, and beside it what was supposed."""

    today: Foreseen | None
    why_not: str
    """Why there is none of today."""
    supposed: tuple[str, ...]
    then: Foreseen | None


_REFUSALS: dict[int | str, dict[str, Any]] = {
    401: {"model": Fault, "description": "nobody is signed in"},
    403: {"model": Fault, "description": "not yours to say or see"},
    404: {"model": Fault, "description": "not there"},
    409: {"model": Fault, "description": "somebody else was first, or it has moved on"},
    413: {"model": Fault, "description": "too long"},
    422: {"model": Fault, "description": "cannot be granted as it stands: change it"},
    503: {"model": Fault, "description": "the store does not answer: the same again, later"},
}
router = APIRouter(prefix="/api", responses=_REFUSALS)


@router.get("/now")
def now(request: Request, viewer: Asking) -> Now:
    """Everything on the first page: what needs someone, who has the move, what is on its way, who is awake."""
    return board_of(request).now(viewer)


@router.get("/reels")
def reels(
    request: Request,
    viewer: Asking,
    q: Annotated[str, Query(max_length=200, description="words that must all occur")] = "",
    start: Start = 0,
    most: Most = PAGE,
) -> Reels:
    """Every reel: its length, how far it is, who has the move, what to mind."""
    board = board_of(request)
    words = q.casefold().split()
    found = [row for row in board.reels(viewer) if all(word in row.haystack for word in words)]
    entry = board.watch.picture.state.sequence
    return Reels(entry=entry, found=len(found), reels=tuple(found[start : start + most]))


@router.get("/reels/{element}/{reel}")
def reel(request: Request, viewer: Asking, element: CodeInPath, reel: CodeInPath) -> ReelPage:
    """One reel: its versions with frames and receipts, and its jobs."""
    board, name = board_of(request), ReelName(f"{element}/{reel}")
    row, versions = board.reel(viewer, name)
    jobs = tuple(job for job in board.jobs(viewer) if job.reel == name)
    return ReelPage(reel=row, versions=versions, jobs=jobs)


@router.get("/compare")
def compare(request: Request, viewer: Asking, before: VersionText, after: VersionText) -> Comparison:
    """Which frames differ between two versions."""
    board = board_of(request)
    changes = board.compared(viewer, before, after)
    _, view = board.seen(viewer)
    return Comparison(
        before=view.state.version(before).name,
        after=view.state.version(after).name,
        added=changes.added,
        changed=changes.changed,
        removed=changes.removed,
        files_added=changes.files_added,
        files_changed=changes.files_changed,
        files_removed=changes.files_removed,
    )


@router.get("/jobs")
def jobs(request: Request, viewer: Asking, which: Which = "open", start: Start = 0, most: Most = PAGE) -> Jobs:
    """Jobs: how each stands, who has the move, and what you may say about it."""
    board = board_of(request)
    found = chosen(board.jobs(viewer), which, viewer.site)
    entry = board.watch.picture.state.sequence
    return Jobs(entry=entry, found=len(found), jobs=tuple(found[start : start + most]))


@router.get("/sites")
def sites(request: Request, viewer: Asking) -> tuple[SiteRow, ...]:
    """Sites: what time it is there, who is awake, what each holds and owes."""
    return board_of(request).sites(viewer)


@router.get("/forecast")
def forecast(request: Request, viewer: Asking, supposed: Suppositions = ()) -> Forecasts:
    """When each reel is finished as a range, the plan as pieces of work, what sets the finish, what may slip.

    Each `if` supposes something, as `relay forecast --what-if` takes it: `tokyo closed 2027-01-05 to 2027-01-09`,
    `kolkata one more at grade`, `B arrives 2027-02-01 at halifax`, `halifax line 2`.
    """
    board, texts = board_of(request), tuple(supposed)
    seen = board.foresight(viewer)
    then = board.supposed(viewer, texts)
    return Forecasts(today=seen.rows, why_not="" if seen.rows else seen.why_not, supposed=texts, then=then)


@router.get("/ledger")
def ledger(
    request: Request,
    viewer: Asking,
    before: Annotated[int | None, Query(ge=0, le=2**53, description="only entries ahead of this one")] = None,
    most: Most = PAGE,
) -> tuple[LedgerLine, ...]:
    """What was said, by whom and when, the newest first."""
    return board_of(request).lines(viewer, before=before, most=most)


@router.post("/acts")
async def act(request: Request, viewer: Asking, asked: Act, x_relay_token: Annotated[str, Header()] = "") -> Acted:
    """Say something about a job: claim, extend, release, hand on, take, decline, accept, return, and what rules it.

    `op` makes it happen once: the same operation gives the same answer again. `x-relay-token` is what the session's
    pages carry.
    """
    check_token(request, x_relay_token)
    board = board_of(request)
    acted = await run_in_threadpool(board.actors.say, viewer, asked)
    board.watch.look_now()
    return acted
