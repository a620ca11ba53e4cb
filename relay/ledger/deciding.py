"""What people say about the film itself: decisions, and whether what was left as it is is still there. Once each."""

from datetime import datetime

from relay.ledger.decision_state import Decision
from relay.ledger.decision_words import DecisionMade, RegionJudged
from relay.ledger.entry import Entry
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
from relay.ledger.left import judged, newest_comparisons
from relay.ledger.state import State
from relay.ledger.words import Word
from relay.model import Place


def newest_on(state: State, place: Place) -> Decision | None:
    """Return the last decision on exactly `place`."""
    return next((each for each in reversed(state.decisions) if each.word.place == place), None)


def decide(ledger: Ledger, pen: Pen, word: DecisionMade) -> Entry | None:
    """Say what was decided; None where the same was said here last. Raises RefusedError."""

    def wanted(state: State, _now: datetime) -> list[Word] | None:
        last = newest_on(state, word.place)
        return None if last and (last.by, last.word) == (pen.name, word) else [word]

    return ledger.append(pen, wanted)


def judge(ledger: Ledger, pen: Pen, word: RegionJudged) -> Entry | None:
    """Say what a person saw on a comparison's crops; None where the same was said here last. Raises RefusedError."""

    def wanted(state: State, _now: datetime) -> list[Word] | None:
        about = (word.decision, word.version)
        shown = next((each for each in newest_comparisons(state) if (each.decision, each.version) == about), None)
        last = judged(state, shown) if shown else None
        said = last and (last.by, last.stands, last.because, last.person)
        return None if said == (pen.name, word.stands, word.because, word.person) else [word]

    return ledger.append(pen, wanted)
