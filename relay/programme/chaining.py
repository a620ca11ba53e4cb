"""Which prints can be reached by way of others, where nobody put the two side by side. Pure."""

from collections.abc import Iterable
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
    ends: dict[Path, float] = {(start,): 1.0}
    while ends:
        ends = _further(ends, near, found.keys())
        for path in sorted(ends, key=lambda path: (-number_of(path[-1]), -ends[path], path)):
            if reel_of(path[-1]) not in direct:
                found.setdefault(reel_of(path[-1]), path)
    return tuple(sorted(found.values(), key=lambda path: path[-1]))


def _further(
    ends: dict[Path, float], near: dict[VersionName, list[tuple[VersionName, float]]], known: Iterable[ReelName]
) -> dict[Path, float]:
    """Return every path one link longer that leads to a reel not reached before, with the shares of its links."""
    return {
        (*path, name): share * sure
        for path, share in ends.items()
        for name, sure in near.get(path[-1], [])
        if reel_of(name) not in {*known, *map(reel_of, path)}
    }
