"""Which prints can be reached by way of others, where nobody put the two side by side. Pure."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from relay.model import ReelName, VersionName, number_of, reel_of

Path = tuple[VersionName, ...]
"""Versions of which each was put beside the next, from the first print to the one that is reached."""


class Link(NamedTuple):
    """Two versions that were put side by side."""

    one: VersionName
    other: VersionName
    sure: float
    """The share of frames of which their map is sure, 0 to 1."""


def paths_from(start: VersionName, links: Iterable[Link]) -> tuple[Path, ...]:
    """Return a path to each reel that `start` was not put beside: fewest links, newest version, surest maps.

    No path goes by way of two versions of one reel. Sorted by where they lead.
    """
    near: dict[VersionName, list[tuple[VersionName, float]]] = {}
    for one, other, sure in links:
        near.setdefault(one, []).append((other, sure))
        near.setdefault(other, []).append((one, sure))
    direct = {reel_of(start), *(reel_of(name) for name, _ in near.get(start, []))}
    found: dict[ReelName, Path] = {}
    ends, seen = {start: _Reached((start,), 1.0)}, {start}
    while ends:
        ends = _further(ends.values(), near, seen)
        seen |= ends.keys()
        new = [each.path for each in ends.values() if reel_of(each.path[-1]) not in {*direct, *found}]
        found |= {reel_of(path[-1]): path for path in sorted(new, key=lambda path: number_of(path[-1]))}
    return tuple(sorted(found.values(), key=lambda path: path[-1]))


class _Reached(NamedTuple):
    path: Path
    sure: float
    """The shares of its links, one times the other."""


def _further(
    ends: Iterable[_Reached], near: Mapping[VersionName, list[tuple[VersionName, float]]], seen: set[VersionName]
) -> dict[VersionName, _Reached]:
    """Return each version that is one link further, not seen before, by the surest path to it."""
    found: dict[VersionName, _Reached] = {}
    for path, share in sorted(ends):
        for name, sure in near.get(path[-1], []):
            is_new = name not in seen and reel_of(name) not in map(reel_of, path)
            if is_new and (name not in found or found[name].sure < share * sure):
                found[name] = _Reached((*path, name), share * sure)
    return found
