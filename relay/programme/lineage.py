"""Of what the programme shows: which version of the reel it is made from, what that goes back to, what was done to it.

Values only; reads nothing. Frame by frame, since a version may hold part of a reel, and a step may touch part of that.
"""

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from relay.ledger.job_state import Standing
from relay.ledger.state import State
from relay.media.treatment import Step
from relay.model import ElementKind, FrameRange, ReelName, VersionName, is_in, merged, ranges_of, reel_of, version_name
from relay.programme.provenance import Run

Ranges = tuple[FrameRange, ...]


class Done(NamedTuple):
    """A step that touched some frames."""

    version: VersionName
    """The version whose site says so."""
    number: int
    """Which of that version's steps, from 0."""
    step: Step


class Lineage(NamedTuple):
    """Where frames come from, and how they were treated on the way."""

    versions: tuple[VersionName, ...]
    """The one that is used, what it was made from, and so on to the scan. Empty: no version is known to hold them."""
    is_said: bool
    """A version of the programme names what it was made from; else the first to be fetched is taken."""
    done: tuple[Done, ...]
    """In the order in which it was done."""
    untold: tuple[VersionName, ...]
    """Those that changed the frames though no step says so."""

    def key(self) -> tuple[object, ...]:
        """Return what is equal for frames with the same story."""
        return self.versions, tuple((each.version, each.number) for each in self.done), self.untold


class Use(NamedTuple):
    """Frames of the programme that show frames of one reel, all with one lineage."""

    programme: Ranges
    source: Ranges
    share: Fraction
    lineage: Lineage


class Known(NamedTuple):
    """What was gathered about a version beside the ledger."""

    frames: Ranges = ()
    """Which of the reel's frames it holds."""
    steps: tuple[Step, ...] = ()
    """What its site says was done."""
    undocumented: Ranges = ()
    """Frames that differ from the parent's, though no step names them."""


def accepted(state: State, reel: ReelName) -> set[VersionName] | None:
    """Return the accepted versions of a reel; None where no job was opened on it."""
    jobs = [job for job in state.jobs.values() if job.reel == reel]
    if not jobs:
        return None
    return {job.outcome for job in jobs if job.outcome and job.standing is Standing.ACCEPTED}


def behind_the_programme(state: State) -> frozenset[VersionName]:
    """Return every version that the newest versions of the restored programme's reels go back to."""
    made = {
        reel: state.newest[reel]
        for reel in state.film().reel_names()
        if reel in state.newest and (lent := state.film().element_of(reel))
        if lent.kind is ElementKind.RESTORED_PROGRAMME
    }
    seen, waiting = set[VersionName](), [version_name(reel, number) for reel, number in made.items()]
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            waiting.extend(state.versions[name].parents)
    return frozenset(name for name in seen if reel_of(name) not in made)


class Lineages:
    """Answers for the frames of one reel."""

    def __init__(self, state: State, reel: ReelName, known: Mapping[VersionName, Known]) -> None:
        self._state = state
        self._known = {each.name: known[each.name] for each in state.of_reel(reel) if each.name in known}
        self._touched = {
            name: [merged((each.first, each.last) for each in step.ranges()) for step in facts.steps]
            for name, facts in self._known.items()
        }
        self._said = behind_the_programme(state)
        good = accepted(state, reel) or set()
        newest_first = reversed([each.name for each in state.of_reel(reel) if each.name in self._known])
        self._order = sorted(newest_first, key=lambda name: (name not in self._said, name not in good))
        self._found: dict[int, Lineage] = {}

    def of(self, frame: int) -> Lineage:
        """Return the lineage of one frame."""
        if frame not in self._found:
            self._found[frame] = self._look(frame)
        return self._found[frame]

    def _look(self, frame: int) -> Lineage:
        first = next((name for name in self._order if is_in(frame, self._known[name].frames)), None)
        if first is None:
            return Lineage((), is_said=False, done=(), untold=())
        versions = self._back(first, frame)
        done = tuple(each for name in reversed(versions) for each in self._done(name, frame))
        untold = tuple(name for name in versions[:-1] if is_in(frame, self._known[name].undocumented))
        return Lineage(versions, first in self._said, done, untold)

    def _back(self, name: VersionName, frame: int) -> tuple[VersionName, ...]:
        """Return a version and those before it that hold the frame, to the scan that brought it."""
        found = [name]
        while (parent := self._parent(found[-1])) and is_in(frame, self._known[parent].frames):
            found.append(parent)
        return tuple(found)

    def _parent(self, name: VersionName) -> VersionName | None:
        return next((each for each in self._state.versions[name].parents if each in self._known), None)

    def _done(self, name: VersionName, frame: int) -> Iterable[Done]:
        for number, (step, ranges) in enumerate(zip(self._known[name].steps, self._touched[name], strict=True)):
            if not ranges or is_in(frame, ranges):
                yield Done(name, number, step)


def uses(runs: Iterable[Run], lineages: Lineages) -> tuple[Use, ...]:
    """Return runs of one reel, each parted by the lineages of its frames; together they are the same frames."""
    return tuple(use for run in runs for use in _parted(run, lineages))


def _parted(run: Run, lineages: Lineages) -> Iterable[Use]:
    parts: dict[tuple[object, ...], tuple[Lineage, set[int], set[int]]] = {}
    for place, frame in enumerate(run.shown, run.programme.first):
        lineage = lineages.of(frame)
        _, places, frames = parts.setdefault(lineage.key(), (lineage, set(), set()))
        places.add(place)
        frames.add(frame)
    for lineage, places, frames in parts.values():
        yield Use(ranges_of(places), ranges_of(frames), run.share, lineage)


def done_in_words(lineage: Lineage) -> str:
    """Return what was done to the frames, in a line."""
    said = [each.step.done_in_words() for each in lineage.done]
    said += [f"changed in {name} with no step that says so" for name in lineage.untold]
    return "; ".join(said) or ("nothing: as it was scanned" if lineage.versions else "not known")


def from_in_words(versions: Sequence[VersionName]) -> str:
    """Return which version is used and what it goes back to."""
    if not versions:
        return "no version is known to hold them"
    return versions[0] if len(versions) == 1 else f"{versions[0]}, from the scan {versions[-1]}"
