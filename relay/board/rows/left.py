"""What is left as it is on a reel, as rows: later versions, their crops, whether a person must say yes. Pure."""

from datetime import datetime

from relay.board.rows.view import Frames, View
from relay.ledger.decision_state import Comparison
from relay.ledger.left import judged, newest_comparisons, to_compare
from relay.model import Frozen, ReelName, VersionName
from relay.wording import in_words


class LaterRow(Frozen):
    """A later version of the reel, beside what belongs to the film."""

    version: VersionName
    words: str
    comparison: int | None = None
    """The entry that compared it."""
    has_crops: bool = False
    is_flagged: bool = False
    awaits: bool = False
    """A person must look and say whether it is still there."""


class LeftRow(Frozen):
    """Part of the picture that nobody cleans away."""

    entry: int
    frames: Frames
    because: str
    by: str
    time: datetime
    later: tuple[LaterRow, ...]


def left_rows(view: View, reel: ReelName) -> tuple[LeftRow, ...]:
    """Return what is left as it is on `reel`, the newest first."""
    found = [each for each in view.state.decisions if each.word.region and each.word.place.reel == reel]
    return tuple(
        LeftRow(
            entry=each.entry,
            frames=each.word.place.frames,
            because=each.word.because,
            by=each.by,
            time=each.time,
            later=_later(view, each.entry),
        )
        for each in reversed(found)
    )


def _later(view: View, entry: int) -> tuple[LaterRow, ...]:
    known = view.state.versions
    compared = [each for each in newest_comparisons(view.state) if each.decision == entry and each.version in known]
    waiting = [name for decision, name in to_compare(view.state) if decision.entry == entry]
    rows = [_row(view, each) for each in compared]
    rows += [LaterRow(version=name, words="is not compared yet") for name in waiting]
    return tuple(sorted(rows, key=lambda row: known[row.version].entry, reverse=True))


def _row(view: View, found: Comparison) -> LaterRow:
    said = judged(view.state, found)
    return LaterRow(
        version=found.version,
        words=_words(view, found),
        comparison=found.entry,
        has_crops=found.crops is not None,
        is_flagged=bool(found.flagged) and said is None,
        awaits=found.crops is not None and said is None,
    )


def _words(view: View, found: Comparison) -> str:
    if said := judged(view.state, found):
        who = said.person or view.title_of(said.by)
        return f"{'still has it' if said.stands else 'lost it'}, says {who} (entry {said.entry})" + (
            f": {said.because}" if said.because else ""
        )
    if not found.compared:
        return "holds none of these frames"
    if found.flagged:
        return f"seems to have lost it in {in_words(found.flagged, 4)}: a person must look"
    return "seems to have it: a person must look"
