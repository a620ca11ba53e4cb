"""Everything that the ledger says of a place, in its order. Values only; reads nothing.

What is said of a job or a version is said of its reel's frames; what is said of an element, of its reels. What is said
of the restored programme's own reels is said of the programme, and of each shot of it.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import NamedTuple

from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade
from relay.ledger.decision_words import DecisionMade, Evidence, ProductionClosed, RegionCompared, RegionJudged
from relay.ledger.entry import Entry
from relay.ledger.job_state import Job
from relay.ledger.job_words import HandOnOffered, JobOpened
from relay.ledger.pin_words import PlacePinned
from relay.ledger.state import State
from relay.ledger.telling import telling
from relay.ledger.words import MaterialKept, ProductionCreated, ProductionRevised, Word
from relay.model import PROGRAMME, Element, ElementKind, FrameRange, Place, Production, ReelName, reel_of


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
        if any([told.concerns(word, entry.sequence) for told in tellers])  # noqa: C419  each remembers what it saw
    )


NAMING = ("version", "one", "other", "parents", "inputs", "versions", "finals", "prints", "shown", "elements")
"""The fields of words that name versions, reels or elements, all of which the word is about."""


class _Teller:
    def __init__(self, state: State, place: Place) -> None:
        self._asked_about = (place, *_made(state, place))
        self._place = place
        self._jobs: Mapping[str, Job] = state.jobs
        self._before: Production | None = None
        self._named: dict[int, tuple[Place, ...]] = {}
        """What entries are about that later ones speak of by their numbers: regions, and comparisons asked for."""

    def concerns(self, word: Word, entry: int) -> bool:
        if isinstance(word, ProductionCreated | ProductionRevised):
            return self._changes(word.production)
        places = tuple(self._places(word))
        if isinstance(word, ComparisonAsked) or (isinstance(word, DecisionMade) and word.region):
            self._named[entry] = (word.place,) if isinstance(word, DecisionMade) else places
        return any(mine.touches(each) for each in places for mine in self._asked_about)

    def _changes(self, film: Production) -> bool:
        """Answer whether the production's file says something new of the place's element."""
        before, self._before = self._before, film
        if self._place.is_programme:
            return True
        return _element(film, self._place) != (_element(before, self._place) if before else None)

    def _places(self, word: Word) -> Iterator[Place]:
        match word:
            case DecisionMade():
                yield from (each for each in (word.place, word.instead) if each)
                for seen in word.evidence:
                    yield from _seen(seen)
            case MaterialKept():
                yield Place(about=word.about, frames=word.frames)
            case RegionCompared() | RegionJudged():
                yield from self._named[word.decision]
            case ComparisonMade() | ComparisonNotMade():
                yield from self._named[word.asked]
                yield from _every_one(word)
            case ComparisonAsked(prints=(first, *others), frames=FrameRange() as frames):
                yield Place(about=reel_of(first), frames=(frames,))
                yield from _about(others)
            case PlacePinned():
                yield Place(about=word.one, frames=_one(word.frame))
                yield Place(about=word.other, frames=() if word.other_frame is None else _one(word.other_frame))
            case JobOpened() | HandOnOffered() if word.frames:
                yield Place(about=_reel_of_job(word.job), frames=word.frames)
                yield from _every_one(word)
            case _:
                yield from _every_one(word)
                yield from self._of_the_film(word)
                if job := getattr(word, "job", None):
                    yield Place(about=_reel_of_job(job), frames=self._jobs[job].frames if job in self._jobs else ())

    def _of_the_film(self, word: Word) -> Iterator[Place]:
        if isinstance(word, ProductionClosed) or getattr(word, "cut_list", None):
            yield Place(about=PROGRAMME)


def _made(state: State, place: Place) -> tuple[Place, ...]:
    """Return the restored programme's own elements, where the programme is asked about: its reels are what it is."""
    if not place.is_programme:
        return ()
    made = (each for each in state.film().elements if each.kind is ElementKind.RESTORED_PROGRAMME)
    return tuple(Place(about=each.code) for each in made)


def _element(film: Production, place: Place) -> Element | None:
    return film.element_of(ReelName(place.about))


def _every_one(word: Word) -> Iterator[Place]:
    for name in NAMING:
        value = getattr(word, name, None)
        yield from _about((value,) if isinstance(value, str) else value or ())


def _about(names: Iterable[str]) -> Iterator[Place]:
    """Yield what versions, reels or elements belong to: `A/R01/v2` to `A/R01`."""
    return (Place(about="/".join(name.split("/")[:2])) for name in names)


def _reel_of_job(job: str) -> str:
    """Return the reel of `grade/A/R01/2`; somebody may be expected to go on with a job before it is opened."""
    return "/".join(job.split("/")[1:3])


def _one(frame: int) -> tuple[FrameRange, ...]:
    return (FrameRange(first=frame, last=frame),)


def _seen(evidence: Evidence) -> Iterator[Place]:
    if evidence.version:
        yield Place(about=reel_of(evidence.version), frames=evidence.frames)
    if evidence.against:
        yield from _about((evidence.against,))
