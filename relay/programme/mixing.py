"""What lies under a dissolve, by the picture: a place that mixes two frames is held against both of them at once.

How much there is of either does not matter, nor how each was graded: a place is laid together from the two thumbnails
as it fits best, with no less than nothing of either; under a wipe, each of its fields by itself. A dissolve is short,
and what slips in it slips as a whole; so one story is told of all its places: by how many frames what goes and what
comes are off.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

from relay.media.thumbnails import GreyReel
from relay.model import ReelName
from relay.programme.cutlist import CutList, Shown
from relay.programme.matching import CHANGE, COLUMNS, REACH, ROWS, UNLIKE, normal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Scores = NDArray[np.float32]
    There = NDArray[np.bool_]


HALF = 0.5
FIELDS = 3, 4
"""Rows and columns of fields that a picture is parted in under a wipe."""


class Slip(NamedTuple):
    """A shot that shows other frames under a dissolve than the list says."""

    places: tuple[int, int]
    """First and last."""
    expected: Shown
    """At the first of these places."""
    found: Shown
    gain: float
    """How much better it fits, in correlation summed over places."""
    sure: float
    """From 0 to 1: the share of what the places say that speaks for it."""


class Mixtures(NamedTuple):
    """What the pictures under dissolves say."""

    compared: int = 0
    """Places that were held against both of their frames; on a fade, against the one, where there is more of it."""
    unlike: tuple[int, ...] = ()
    """Places that look like no mixture of frames around."""
    slips: tuple[Slip, ...] = ()


class _Place(NamedTuple):
    place: int
    row: int
    """Of the thumbnails that came."""
    gone: Shown | None
    comes: Shown | None
    is_wipe: bool


def match_mixtures(
    cut_list: CutList,
    returned: GreyReel,
    sources: Mapping[ReelName, GreyReel],
    price: float = 0.0,
    reach: int = REACH,
) -> Mixtures:
    """Return what lies under the dissolves and wipes of a list.

    `price`: what a slip must at least fit better by, `Pictures.price` of the rest.
    """
    thumbnails = _Thumbnails(sources)
    found = [
        _told(places, _scores(places, returned, thumbnails, reach), max(price, CHANGE), reach)
        for places in _dissolves(cut_list, returned, thumbnails)
    ]
    return Mixtures(
        sum(each.compared for each in found),
        tuple(place for each in found for place in each.unlike),
        tuple(slip for each in found for slip in each.slips),
    )


class _Thumbnails:
    def __init__(self, sources: Mapping[ReelName, GreyReel]) -> None:
        self._sources = sources
        self._rows = {
            (reel, int(number)): row for reel, grey in sources.items() for row, number in enumerate(grey.numbers)
        }

    def has(self, shown: Shown) -> bool:
        return tuple(shown) in self._rows

    def around(self, shown: Shown | None, reach: int) -> "tuple[Scores, There]":
        """Return the frames around one as vectors, and for each whether there is a thumbnail of it."""
        import numpy as np

        around = range(-reach, reach + 1)
        if shown is None:  # black, of which any frame is as good
            return np.zeros((len(around), ROWS * COLUMNS), np.float32), np.ones(len(around), bool)
        rows = [self._rows.get((shown.reel, shown.frame + step)) for step in around]
        there = np.array([row is not None for row in rows])
        grey = self._sources[shown.reel].grey[[row or 0 for row in rows]]
        return normal(grey) * there[:, None], there


def _dissolves(cut_list: CutList, returned: GreyReel, thumbnails: _Thumbnails) -> Iterator[list[_Place]]:
    """Yield the places of each dissolve that can be compared."""
    came = {int(number): row for row, number in enumerate(returned.numbers)}
    going = cut_list.going()
    for begins, event in cut_list.laid():
        mixed = islice(event.shown(cut_list.rate), event.dissolve)
        pairs = [(going.get(place), None if event.is_slate else comes) for place, comes in enumerate(mixed, begins)]
        places = [
            _Place(place, came[place], gone, comes, event.wipe is not None)
            for place, (gone, comes) in enumerate(pairs, begins)
            if place in came
            and all(thumbnails.has(each) for each in (gone, comes) if each)
            and _is_plain((place - begins + 1) / (event.dissolve + 1), gone, comes)
        ]
        if places:
            yield places


def _is_plain(share: float, gone: Shown | None, comes: Shown | None) -> bool:
    """Answer whether a place can be told: there are two pictures, or more of the one than of the black beside it."""
    return bool(gone and comes) or (comes is not None and share >= HALF) or (gone is not None and share <= HALF)


def _scores(places: Sequence[_Place], returned: GreyReel, thumbnails: _Thumbnails, reach: int) -> "Scores":
    """Return how well each place fits, by steps of what goes and of what comes."""
    import numpy as np

    came = normal(returned.grey[[each.row for each in places]])
    found = np.empty((len(places), 2 * reach + 1, 2 * reach + 1), np.float32)
    for at, each in enumerate(places):
        gone, has_gone = thumbnails.around(each.gone, reach)
        comes, has_come = thumbnails.around(each.comes, reach)
        found[at] = _fits(came[at], gone, comes, FIELDS if each.is_wipe else (1, 1))
        there = has_gone[:, None] & has_come[None, :]
        found[at][~there] = -1.0
    return found


def _fits(came: "Scores", gone: "Scores", comes: "Scores", fields: tuple[int, int]) -> "Scores":
    """Return the correlation of a picture with the best mixture of each of `gone` and each of `comes`.

    Least squares by fields, of no less than nothing of either.
    """
    import numpy as np

    came, gone, comes = (_parted(each, fields) for each in (came[None], gone, comes))
    one, other = (np.einsum("sfi,fi->sf", each, came[0]) for each in (gone, comes))
    own, theirs = (np.maximum(np.einsum("sfi,sfi->sf", each, each), 1e-6) for each in (gone, comes))
    alike = np.einsum("sfi,tfi->stf", gone, comes)
    one, own, other, theirs = one[:, None], own[:, None], other[None], theirs[None]
    apart = np.maximum(own * theirs - alike**2, 1e-4 * own * theirs)
    of_one, of_other = (one * theirs - alike * other) / apart, (other * own - alike * one) / apart
    alone = np.maximum(np.maximum(one, 0) ** 2 / own, np.maximum(other, 0) ** 2 / theirs)
    explained = np.where((of_one > 0) & (of_other > 0), of_one * one + of_other * other, alone)
    fits: Scores = np.sqrt(np.clip(explained.sum(axis=2), 0, 1)).astype(np.float32)
    return fits


def _parted(vectors: "Scores", fields: tuple[int, int]) -> "Scores":
    """Return pictures by fields: pictures, fields, cells."""
    rows, columns = fields
    shaped = vectors.reshape(-1, rows, ROWS // rows, columns, COLUMNS // columns)
    return shaped.transpose(0, 1, 3, 2, 4).reshape(len(vectors), rows * columns, -1)


def _told(places: Sequence[_Place], scores: "Scores", price: float, reach: int) -> Mixtures:
    import numpy as np

    totals = scores.sum(axis=0)
    costs = price * (np.arange(-reach, reach + 1) != 0)
    paid = totals - costs[:, None] - costs
    gone, comes = (int(each) for each in np.unravel_index(int(paid.argmax()), paid.shape))
    unlike = tuple(each.place for each, fits in zip(places, scores.max(axis=(1, 2)), strict=True) if fits < UNLIKE)
    best = scores[:, gone, comes]
    slips = [
        _slip([(each.place, each.gone) for each in places], gone - reach, best - scores[:, reach, comes]),
        _slip([(each.place, each.comes) for each in places], comes - reach, best - scores[:, gone, reach]),
    ]
    return Mixtures(len(places), unlike, tuple(each for each in slips if each))


def _slip(shown: Sequence[tuple[int, Shown | None]], step: int, gains: "Scores") -> Slip | None:
    (first, expected), (last, _) = shown[0], shown[-1]
    if not step or expected is None:
        return None
    speaks, against = float(gains[gains > 0].sum()), float(-gains[gains < 0].sum())
    found = Shown(expected.reel, expected.frame + step)
    return Slip((first, last), expected, found, speaks - against, speaks / (speaks + against) if speaks else 0.0)
