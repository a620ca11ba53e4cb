"""Frame maps as readers see them: read from the store, chained where two prints were not put side by side, and held
against each other where three were.
"""

from collections.abc import Iterable, Iterator
from functools import reduce
from itertools import pairwise, permutations

from relay.errors import RefusedError
from relay.ledger.pin_rules import pins_between
from relay.ledger.state import Alignment, State
from relay.model import ElementKind, FrameRange, VersionName, merged, number_of, reel_of, without
from relay.programme.agreeing import Disputed, Pair, Sure, disputed, doubting
from relay.programme.chaining import Link, paths_from
from relay.programme.framemap import FrameMap, parse_map
from relay.transfer.looked import Reader, read_object


def read_map(desk: Reader, said: Alignment) -> FrameMap:
    """Return the frame map that an entry names. Raises BrokenError, and RefusedError where this Relay is too old."""
    try:
        found = parse_map(read_object(desk, said.frame_map))
    except ValueError as fault:
        raise RefusedError(
            f"the frame map {said.frame_map} cannot be read: {fault}. Upgrade, or align again"
        ) from fault
    if (found.one, found.other) != (said.one, said.other):
        raise RefusedError(
            f"entry {said.entry} is about {said.one} and {said.other}, its frame map about {found.one} and "
            f"{found.other}: align them again"
        )
    return found


class Shelf:
    """The maps of one state, each read and doubted once, and none of them sure where a third print contradicts it.

    The restored programme, made of prints, fills no print's gaps: what leads to it is left out unless `with_made`, and
    it contradicts nobody.
    """

    def __init__(self, desk: Reader, state: State, *, with_made: bool = False) -> None:
        self._desk, self._state, self._with_made = desk, state, with_made
        self._said = {frozenset({each.one, each.other}): each for each in state.alignments}
        self._made = frozenset(name for name in state.aligned() if _is_made(state, name))
        self._read: dict[Pair, FrameMap] = {}
        self._doubted: dict[Pair, FrameMap] = {}
        self._sure: dict[Pair, Sure] = {}
        self._triples: dict[tuple[VersionName, ...], dict[Pair, tuple[FrameRange, ...]]] = {}

    def maps_from(self, version: VersionName) -> dict[VersionName, FrameMap]:
        """Return every map that begins at `version`, by the version that it leads to.

        A reel that it was not itself put beside is reached by way of others, where that can be: such a map says which.
        Raises what `read_map` raises.
        """
        said = self._seen_from(version)
        direct = [_other_of(each, version) for each in said if version in {each.one, each.other}]
        found = {other: self._between(version, other) for other in direct}
        for path in paths_from(version, [Link(each.one, each.other, each.sure / each.frames) for each in said]):
            steps = [self._between(one, other) for one, other in pairwise(path)]
            found[path[-1]] = reduce(FrameMap.then, steps)
        return found

    def among(self, names: Iterable[VersionName]) -> dict[Pair, FrameMap]:
        """Return the maps between these prints, both ways, of those that were put side by side."""
        pairs = (pair for pair in permutations(sorted(names), 2) if frozenset(pair) in self._said)
        return {(one, other): self._between(one, other) for one, other in pairs}

    def disputed_from(self, version: VersionName) -> dict[VersionName, tuple[Disputed, ...]]:
        """Return which frames of `version` a third print contradicts its maps at, by the version that they lead to."""
        said = self._seen_from(version)
        others = {_other_of(each, version) for each in said if version in {each.one, each.other}}
        found = {other: tuple(self._disputes(version, other)) for other in sorted(others)}
        return {other: disputes for other, disputes in found.items() if disputes}

    def _seen_from(self, version: VersionName) -> list[Alignment]:
        hidden = frozenset[VersionName]() if self._with_made else self._made - {version}
        return [each for each in self._said.values() if not hidden & {each.one, each.other}]

    def _between(self, one: VersionName, other: VersionName) -> FrameMap:
        """Return the map as it was said, not sure where a third print contradicts it; pinned frames stay sure."""
        if (one, other) not in self._doubted:
            self._doubted[one, other] = self._doubting(one, other)
        return self._doubted[one, other]

    def _doubting(self, one: VersionName, other: VersionName) -> FrameMap:
        pins = pins_between(self._state, reel_of(one), reel_of(other))
        there = merged((part.first, part.last) for each in self._disputes(one, other) for part in each.frames)
        back = merged((part.first, part.last) for each in self._disputes(other, one) for part in each.frames)
        return doubting(
            self._map(one, other),
            without(there, [FrameRange(first=pin.frame, last=pin.frame) for pin in pins]),
            without(back, [FrameRange(first=pin.other_frame, last=pin.other_frame) for pin in pins]),
        )

    def _disputes(self, one: VersionName, other: VersionName) -> Iterator[Disputed]:
        for third in self._thirds(one, other):
            names = tuple(sorted((one, other, third)))
            if names not in self._triples:
                self._triples[names] = disputed({pair: self._surely(*pair) for pair in permutations(names, 2)})
            if frames := self._triples[names].get((one, other), ()):
                yield Disputed(third, frames)

    def _thirds(self, one: VersionName, other: VersionName) -> list[VersionName]:
        """Return who was put beside both: of each reel the newest version."""
        near, far = (
            {_other_of(each, name) for pair, each in self._said.items() if name in pair} for name in (one, other)
        )
        both = (near & far) - self._made
        newest = {reel_of(name): name for name in sorted(both, key=number_of)}
        return sorted(name for reel, name in newest.items() if reel not in {reel_of(one), reel_of(other)})

    def _surely(self, one: VersionName, other: VersionName) -> Sure:
        if (one, other) not in self._sure:
            self._sure[one, other] = Sure(self._map(one, other).there)
        return self._sure[one, other]

    def _map(self, one: VersionName, other: VersionName) -> FrameMap:
        if (one, other) not in self._read:
            found = read_map(self._desk, self._said[frozenset({one, other})])
            for each in (found, found.inverse()):
                self._read[each.one, each.other] = each
        return self._read[one, other]


def _is_made(state: State, version: VersionName) -> bool:
    element = state.film().element_of(reel_of(version))
    return element is not None and element.kind is ElementKind.RESTORED_PROGRAMME


def _other_of(said: Alignment, version: VersionName) -> VersionName:
    return said.other if said.one == version else said.one
