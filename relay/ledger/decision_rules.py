"""What was decided, how it was kept to, and how a production ends: words in, state out. Pure."""

from dataclasses import replace
from typing import assert_never

from relay.errors import RefusedError
from relay.ledger.decision_state import Closing, Comparison, Decision, Judgement
from relay.ledger.decision_words import (
    DecisionMade,
    DecisionWord,
    Evidence,
    ProductionClosed,
    RegionCompared,
    RegionJudged,
    VersionsRetired,
)
from relay.ledger.saying import WORKING, Saying
from relay.ledger.state import Role, State
from relay.model import Digest, Place, VersionName, reel_of


def fold_decision(state: State, word: DecisionWord, saying: Saying) -> None:
    """Add one word to `state`. Raises RefusedError."""
    match word:
        case DecisionMade():
            _decided(state, word, saying)
        case RegionCompared():
            _compared(state, word, saying)
        case RegionJudged():
            _judged(state, word, saying)
        case ProductionClosed():
            _closed(state, word, saying)
        case VersionsRetired():
            _retired(state, word, saying)
        case _:
            assert_never(word)


def _decided(state: State, word: DecisionMade, saying: Saying) -> None:
    saying.check_role("decide about the film", *WORKING)
    for place in (word.place, word.instead):
        if place is not None:
            _check_place(state, place)
    for evidence in word.evidence:
        _check_evidence(state, evidence)
    if word.region is not None:
        _check_version(state, word.region.version)
        if any(each.entry == saying.entry and each.word.region for each in state.decisions):
            raise RefusedError("one entry leaves one region as it is, so that its number tells which: say two entries")
    state.decisions = (*state.decisions, Decision(word, saying.by, saying.entry, saying.time))


def _check_place(state: State, place: Place) -> None:
    film = state.film()
    if place.is_programme or place.about in {*film.reel_names(), *(element.code for element in film.elements)}:
        return
    raise RefusedError(f"{place.about} is no element and no reel of the production: `relay production show` has them")


def _check_version(state: State, name: VersionName) -> None:
    if name not in state.versions:
        raise RefusedError(f"there is no version {name}: `relay reel show {reel_of(name)}` lists what there is")


def _check_evidence(state: State, evidence: Evidence) -> None:
    for name in (evidence.version, evidence.against):
        if name is not None:
            _check_version(state, name)
    if evidence.still is not None and evidence.still not in _stills(state):
        raise RefusedError(f"no still {evidence.still[:16]}... was kept: `relay material keep` it first")


def _stills(state: State) -> set[Digest]:
    looks = [look for version in state.versions.values() for look in version.inspections]
    shown = {digest for look in looks for digest in (look.report, look.sheet, look.strip) if digest}
    crops = {each.crops for each in state.comparisons if each.crops}
    return {each.object for each in state.material} | shown | crops


def region_decision(state: State, entry: int) -> Decision:
    """Return the decision of `entry` that leaves a region as it is. Raises RefusedError."""
    found = next((each for each in state.decisions if each.entry == entry and each.word.region), None)
    if found is None:
        raise RefusedError(f"entry {entry} leaves no region as it is: `relay left list` has those that do")
    return found


def _check_later(state: State, decision: Decision, version: VersionName) -> None:
    _check_version(state, version)
    if reel_of(version) != decision.word.place.reel:
        raise RefusedError(f"entry {decision.entry} is about {decision.word.place.reel}, and {version} is not of it")


def _compared(state: State, word: RegionCompared, saying: Saying) -> None:
    saying.check_role("compare a version with what was left as it is", *WORKING)
    decision = region_decision(state, word.decision)
    _check_later(state, decision, word.version)
    if (word.compared > 0) != (word.crops is not None):
        raise RefusedError(f"a comparison of {word.version} shows crops where frames were compared, and else none")
    found = Comparison(
        word.decision, word.version, word.compared, word.flagged, word.crops, saying.by, saying.entry, saying.time
    )
    state.comparisons = (*state.comparisons, found)


def _judged(state: State, word: RegionJudged, saying: Saying) -> None:
    saying.check_role("say whether what belongs to the film is still there", *WORKING)
    if not any((each.decision, each.version) == (word.decision, word.version) for each in state.comparisons):
        raise RefusedError(
            f"{word.version} was not compared with what entry {word.decision} leaves as it is: "
            f"`relay left compare {word.decision} {word.version}` first, then look at its crops"
        )
    judged = Judgement(
        word.decision, word.version, word.stands, word.because, word.person, saying.by, saying.entry, saying.time
    )
    state.judgements = (*state.judgements, judged)


def _closed(state: State, word: ProductionClosed, saying: Saying) -> None:
    saying.check_role("close the production", Role.COORDINATOR)
    for name in word.finals:
        _check_version(state, name)
        if state.versions[name].retired is not None:
            raise RefusedError(f"{name} was retired and cannot be among the final versions")
    state.closings = (
        *state.closings,
        Closing(word.export, word.finals, word.files, word.size, saying.by, saying.entry, saying.time),
    )


def _retired(state: State, word: VersionsRetired, saying: Saying) -> None:
    saying.check_role("retire versions", Role.COORDINATOR)
    closing = state.closings[-1] if state.closings else None
    if closing is None or closing.entry != word.closing:
        raise RefusedError(
            f"versions are retired only after the newest closing, and entry {word.closing} is not that: "
            "`relay export close` first"
        )
    for name in word.versions:
        _check_version(state, name)
        if name in closing.finals:
            raise RefusedError(f"{name} is one of the final versions of entry {closing.entry}: it stays")
        if state.versions[name].entry > closing.entry:
            raise RefusedError(f"{name} came after the closing of entry {closing.entry}, whose ledger lacks it")
        if state.versions[name].retired is None:
            state.versions[name] = replace(state.versions[name], retired=saying.entry)
    state.retired = saying.entry if state.retired is None else state.retired
