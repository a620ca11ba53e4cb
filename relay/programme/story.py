"""Everything that the ledger says of a place, in its order. Values only; reads nothing.

What is said of a job or a version is said of its reel's frames; what is said of an element, of its reels.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import NamedTuple

from relay.ledger.decision_words import DecisionMade, Evidence, RegionCompared, RegionJudged
from relay.ledger.entry import Entry
from relay.ledger.job_state import Job
from relay.ledger.job_words import HandOnOffered, JobOpened
from relay.ledger.state import State
from relay.ledger.telling import telling
from relay.ledger.words import MaterialKept, ProductionCreated, ProductionRevised, Word
from relay.model import Element, Place, Production, ReelName, VersionName, reel_of


class Said(NamedTuple):
    """One word about the place."""

    entry: int
    time: datetime
    by: str
    word: str
    """Which kind of word it is."""
    sentence: str
    """What was said, without its subject: the signer."""


def story(state: State, entries: Iterable[Entry], place: Place) -> tuple[Said, ...]:
    """Return every word that touches `place`, oldest first. `state` is what `entries` amount to."""
    return story_of_all(state, entries, [place])


def story_of_all(state: State, entries: Iterable[Entry], places: Iterable[Place]) -> tuple[Said, ...]:
    """Return every word that touches any of `places`, each once, oldest first."""
    tellers = [_Teller(state, place) for place in places]
    return tuple(
        Said(entry.sequence, entry.body.time, entry.body.by, word.word, telling(word))
        for entry in entries
        for word in entry.body.words
        if any([told.concerns(word) for told in tellers])  # noqa: C419  each remembers the production it saw last
    )


class _Teller:
    def __init__(self, state: State, place: Place) -> None:
        self._place = place
        self._jobs: Mapping[str, Job] = state.jobs
        self._before: Production | None = None
        self._regions = {each.entry: each.word.place for each in state.decisions if each.word.region}

    def concerns(self, word: Word) -> bool:
        if isinstance(word, ProductionCreated | ProductionRevised):
            return self._changes(word.production)
        return any(self._place.touches(each) for each in self._places(word))

    def _changes(self, film: Production) -> bool:
        """Answer whether the production's file says something new of the place's element."""
        before, self._before = self._before, film
        if self._place.is_programme:
            return True
        return _element(film, self._place) != (_element(before, self._place) if before else None)

    def _places(self, word: Word) -> Iterator[Place]:
        if isinstance(word, DecisionMade):
            yield word.place
            if word.instead:
                yield word.instead
            for each in word.evidence:
                yield from _seen(each)
        elif isinstance(word, MaterialKept):
            yield Place(about=word.about, frames=word.frames)
        elif isinstance(word, RegionCompared | RegionJudged):
            yield self._regions[word.decision]
        elif isinstance(word, JobOpened | HandOnOffered) and word.frames:
            yield Place(about=self._jobs[word.job].reel, frames=word.frames)
            made = word.inputs if isinstance(word, JobOpened) else (word.version,) if word.version else ()
            yield from _reels(made)
        else:
            yield from self._of_reels(word)

    def _of_reels(self, word: Word) -> Iterator[Place]:
        name = getattr(word, "version", None)
        yield from _reels([name] if name else [])
        for many in ("parents", "inputs", "versions", "finals"):
            yield from _reels(getattr(word, many, ()))
        job = getattr(word, "job", None)
        if job is not None:
            yield Place(about=self._jobs[job].reel, frames=self._jobs[job].frames)


def _element(film: Production, place: Place) -> Element | None:
    return film.element_of(ReelName(place.about))


def _reels(names: Iterable[VersionName]) -> Iterator[Place]:
    for name in names:
        yield Place(about=reel_of(name))


def _seen(evidence: Evidence) -> Iterator[Place]:
    if evidence.version:
        yield Place(about=reel_of(evidence.version), frames=evidence.frames)
    if evidence.against:
        yield Place(about=reel_of(evidence.against))
