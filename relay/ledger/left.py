"""What is left as it is: which later versions wait to be compared there, and which wait for a person's yes. Pure."""

from relay.ledger.decision_state import Comparison, Decision, Judgement
from relay.ledger.state import State
from relay.model import VersionName


def to_compare(state: State) -> list[tuple[Decision, VersionName]]:
    """Return which later versions were not compared yet with what each decision leaves as it is."""
    done = {(each.decision, each.version) for each in state.comparisons}
    return [
        (decision, version.name)
        for decision in state.decisions
        if decision.word.region and decision.word.place.reel
        for version in state.of_reel(decision.word.place.reel)
        if version.name != decision.word.region.version
        and version.retired is None
        and version.entry > state.versions[decision.word.region.version].entry
        and (decision.entry, version.name) not in done
    ]


def newest_comparisons(state: State) -> tuple[Comparison, ...]:
    """Return the comparison that counts for each decision and version: the newest."""
    return tuple({(each.decision, each.version): each for each in state.comparisons}.values())


def judged(state: State, comparison: Comparison) -> Judgement | None:
    """Return what a person said of these crops; None where nobody did since they were made."""
    about = (comparison.decision, comparison.version)
    said = [each for each in state.judgements if (each.decision, each.version) == about]
    return said[-1] if said and said[-1].entry > comparison.entry else None


def to_judge(state: State) -> list[Comparison]:
    """Return the comparisons whose crops nobody looked at yet, those that are flagged first.

    Where a version holds none of the frames, as a movie does, there are no crops, and nothing is asked.
    """
    waiting = [each for each in newest_comparisons(state) if each.crops and judged(state, each) is None]
    return sorted(waiting, key=lambda each: (not each.flagged, each.entry))
