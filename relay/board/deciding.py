"""One field while looking at a reel: why it, or frames of it, are as they are; a yes or no to what is left as it is."""

from typing import Annotated, Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import StringConstraints

from relay.board.door import Asking, board_of, said_by_form
from relay.board.rows.view import Viewer
from relay.errors import LostRaceError, RefusedError
from relay.ledger.deciding import decide as say
from relay.ledger.deciding import judge as say_seen
from relay.ledger.decision_words import EVIDENCE, DecisionMade, EntryNumber, Evidence, RegionJudged, Verdict
from relay.ledger.left import newest_comparisons
from relay.ledger.state import State
from relay.model import FrameRange, Frozen, Line, Note, Place, ReelField, VersionField, code_of
from relay.programme.evidence import several
from relay.programme.reasons import reason_in_full, reasons_of
from relay.transfer.seat import Seat
from relay.wording import parse_frames

router = APIRouter(include_in_schema=False)


class Asked(Frozen):
    """What the form on a reel's page asks for."""

    reel: ReelField
    about: Literal["reel", "element", "programme"] = "reel"
    """What is decided about, seen from that reel; `frames` are the reel's or the programme's own."""
    verdict: Verdict
    because: Line
    frames: Annotated[str, StringConstraints(max_length=400)] = ""
    """Ranges such as 10-20,35; empty for the whole reel."""
    seen: VersionField | None = None
    """The version whose pictures were looked at."""
    seen_frames: Annotated[str, StringConstraints(max_length=400)] = ""
    """Which frames of it; empty, where a reel is decided about: the same."""
    against: VersionField | None = None
    """What it was compared with."""
    still: Annotated[str, StringConstraints(max_length=2000)] = ""
    """Stills and papers that were looked at: their digests, each on a line."""
    more: Annotated[str, StringConstraints(max_length=2000)] = ""
    """What else was looked at, as `relay decide --evidence` takes it, parted by semicolons."""

    def decision(self, viewer: Viewer, state: State) -> DecisionMade:
        """Return what is said. Raises RelayError for frames that are none or a reason that nobody wrote."""
        frames = parse_frames(self.frames) if self.frames.strip() else ()
        try:
            because = reason_in_full(self.because, reasons_of(state.film()))
        except ValueError as error:
            raise RefusedError(str(error)) from error
        about = {"reel": self.reel, "element": code_of(self.reel), "programme": "programme"}[self.about]
        return DecisionMade(
            place=Place(about=about, frames=frames),
            verdict=self.verdict,
            because=because,
            person=_person(viewer),
            evidence=self._evidence(state, frames if self.about == "reel" else ()),
        )

    def _evidence(self, state: State, frames: tuple[FrameRange, ...]) -> tuple[Evidence, ...]:
        if self.against and not self.seen:
            raise RefusedError(f"what was compared with {self.against} is not said: choose the version that was seen")
        looked_at = parse_frames(self.seen_frames) if self.seen_frames.strip() else frames
        seen = [Evidence(version=self.seen, frames=looked_at, against=self.against)] if self.seen else []
        found = (*seen, *several(state, self.still), *several(state, self.more))
        if len(found) > EVIDENCE:
            raise RefusedError(f"that is evidence of {len(found)} kinds: expected at most {EVIDENCE} in one decision")
        return tuple(dict.fromkeys(found))


class Looked(Frozen):
    """What a person saw on the crops of a comparison."""

    decision: EntryNumber
    version: VersionField
    comparison: EntryNumber
    """The entry whose crops the page showed."""
    saw: Literal["there", "gone"]
    because: Note = ""


def _person(viewer: Viewer) -> str | None:
    return None if viewer.name == viewer.site else viewer.name


def judged(seat: Seat, viewer: Viewer, looked: Looked) -> str:
    """Say whether what belongs to the film is still there, once. Raises RelayError."""
    if viewer.role != "coordinator":
        raise RefusedError("whether what belongs to the film is still there is said by the coordinator: ask there")
    word = RegionJudged(
        decision=looked.decision,
        version=looked.version,
        stands=looked.saw == "there",
        because=looked.because,
        person=_person(viewer),
    )
    with seat.alone() as ledger:
        found = {(each.decision, each.version): each.entry for each in newest_comparisons(ledger.follow())}
        if found.get((looked.decision, looked.version)) != looked.comparison:
            raise LostRaceError(f"{looked.version} was compared anew since you looked. Nothing was said; look again")
        entry = say_seen(ledger, seat.pen, word)
    seat.ring()
    kept = "still has it" if word.stands else "lost it"
    return f"{word.version} {kept}; " + (f"entry {entry.sequence}." if entry else "that was said before.")


def decided(seat: Seat, viewer: Viewer, asked: Asked) -> str:
    """Say it, once, and return what became of it in words. Raises RelayError."""
    with seat.alone() as ledger:
        word = asked.decision(viewer, ledger.follow())
        entry = say(ledger, seat.pen, word)
    seat.ring()
    return f"{word.place} is {word.verdict}; " + (f"entry {entry.sequence}." if entry else "that was said before.")


@router.post("/decide")
async def decide(request: Request, viewer: Asking) -> Response:
    """Say a decision from the form on a reel's page; then show that page again."""
    actors = board_of(request).actors
    return await said_by_form(request, lambda form: decided(actors.seat_of(viewer), viewer, Asked.model_validate(form)))


@router.post("/judge")
async def judge(request: Request, viewer: Asking) -> Response:
    """Say what was seen on a comparison's crops; then show the reel's page again."""
    actors = board_of(request).actors
    return await said_by_form(request, lambda form: judged(actors.seat_of(viewer), viewer, Looked.model_validate(form)))
