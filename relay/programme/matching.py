"""Which frame of its source each returned frame shows, by the picture alone: processing and grading do not matter.

Thumbnails are brought to what a grade leaves alone: the light of each place against its surroundings, at unit size.
Each place of the programme is held against what the list says for it, against the places around (a frame lost or
doubled moves all that follows) and against the frames around in its source (a shot that slipped). The likeliest story
is taken: one that seldom changes its mind, so that film on which nothing moves raises no alarm.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from relay.media.thumbnails import GreyReel
from relay.model import ReelName
from relay.programme.cutlist import Shown

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Vectors = NDArray[np.float32]

REACH = 12
"""Places, and frames of the source, on either side that are looked at."""
CHANGE = 0.05
"""What it costs to change one's mind, in correlation summed over places; measured, see docs/results/conform.md."""
TREMBLE = 16.0
"""That cost at least, in medians of how far the correlation moves from place to place: worn film trembles."""
TELLING = 0.01
"""Correlation by which a place must differ from its neighbours to speak for itself."""
UNLIKE = 0.35
"""Correlation below which a place looks like nothing around its source."""
_CHUNK = 2000
ROWS, COLUMNS, _AROUND = 24, 32, 3
_WEAVE = 0.3
"""Of a cell of 32 across the picture: a hundredth of its width."""


class Match(NamedTuple):
    """A place that by its picture shows another frame than the list says."""

    place: int
    found: Shown
    gain: float
    """How much better it fits, in correlation; negative at single places of a story that is better on the whole."""


class Pictures(NamedTuple):
    """What the pictures say."""

    compared: int
    """Places whose source has a thumbnail, too."""
    unsure: int
    """Of these, the places that look like their neighbours: only their numbers speak for them."""
    unlike: tuple[int, ...]
    """Places that look like nothing around their source."""
    matches: tuple[Match, ...]
    price: float = 0.0
    """What a change of mind cost, in correlation: the less the film trembles, the less."""


def match(
    wanted: Sequence[Shown],
    returned: GreyReel,
    sources: Mapping[ReelName, GreyReel],
    mixed: frozenset[int] = frozenset(),
    reach: int = REACH,
) -> Pictures:
    """Return which places of `wanted` show something else.

    `returned` is numbered by places, each of `sources` by its reel's frames. `mixed` places are left out: what lies
    under a dissolve looks like neither of its frames, and `relay.programme.mixing` holds it against both.
    """
    import numpy as np

    lists = _Lists(wanted, sources, reach)
    came = {int(number): row for row, number in enumerate(returned.numbers)}
    places = [place for place in range(len(wanted)) if place in came and place not in mixed and lists.has(place)]
    if not places:
        return Pictures(0, 0, (), ())
    scores = np.concatenate(
        [
            lists.scores(places[at : at + _CHUNK], normal(returned.grey[[came[p] for p in places[at : at + _CHUNK]]]))
            for at in range(0, len(places), _CHUNK)
        ]
    )
    price = _price(scores[:, 0])
    story = _likeliest(scores, price)
    right, best = scores[:, 0], scores.max(axis=1)
    unlike = [place for place, fits in zip(places, best, strict=True) if fits < UNLIKE]
    if 2 * len(unlike) >= len(places):
        unlike = []  # the whole is another film, or drawn anew: that says nothing of single places
    left = dict.fromkeys(unlike)
    told = ((row, place, lists.shown(place, story[row])) for row, place in enumerate(places) if place not in left)
    return Pictures(
        compared=len(places),
        unsure=int((right - lists.rivals(scores) < TELLING).sum()),
        unlike=tuple(unlike),
        matches=tuple(
            Match(place, found, float(scores[row, story[row]] - right[row]))
            for row, place, found in told
            if found is not None and found != wanted[place]
        ),
        price=price,
    )


class _Lists:
    """The frames that each place is held against: state 0 is what the list says."""

    def __init__(self, wanted: Sequence[Shown], sources: Mapping[ReelName, GreyReel], reach: int) -> None:
        around = [step for step in range(-reach, reach + 1) if step]
        self._wanted = wanted
        self._steps = [(0, 0), *((step, 0) for step in around), *((0, step) for step in around)]
        self._rows = {
            (reel, int(number)): row for reel, grey in sources.items() for row, number in enumerate(grey.numbers)
        }
        self._sources = sources

    def has(self, place: int) -> bool:
        return tuple(self._wanted[place]) in self._rows

    def shown(self, place: int, state: int) -> Shown | None:
        """Return what `place` would show in a story; None past the ends of the list, or where no source has it."""
        places, frames = self._steps[state]
        if not 0 <= place + places < len(self._wanted):
            return None
        reel, frame = self._wanted[place + places]
        return Shown(reel, frame + frames) if (reel, frame + frames) in self._rows else None

    def scores(self, places: Sequence[int], came: "Vectors") -> "Vectors":
        """Return how well each place fits each story: rows of correlations, -1 where there is nothing to compare."""
        import numpy as np

        held = [[self.shown(place, state) for state in range(len(self._steps))] for place in places]
        needed = {each: row for row, each in enumerate(dict.fromkeys(each for line in held for each in line if each))}
        vectors = self._vectors(list(needed))
        found = np.full((len(places), len(self._steps)), -1.0, np.float32)
        for state in range(len(self._steps)):
            rows = [(at, needed[each]) for at, line in enumerate(held) if (each := line[state]) is not None]
            if rows:
                here, there = (list(each) for each in zip(*rows, strict=True))
                found[here, state] = _correlation(came[here], vectors, there)
        return found

    def rivals(self, scores: "Vectors") -> "Vectors":
        """Return for each place how well the better of its two neighbouring frames fits."""
        near = [state for state, (places, frames) in enumerate(self._steps) if not places and abs(frames) == 1]
        found: Vectors = scores[:, near].max(axis=1)
        return found

    def _vectors(self, frames: Sequence[Shown]) -> "_Movable":
        import numpy as np

        vectors = np.empty((len(frames), ROWS * COLUMNS), np.float32)
        for reel, grey in self._sources.items():
            at = [number for number, each in enumerate(frames) if each.reel == reel]
            if at:
                vectors[at] = normal(grey.grey[[self._rows[reel, frames[number].frame] for number in at]])
        return _movable(vectors)


def normal(grey: "NDArray[np.uint8]") -> "Vectors":
    """Return thumbnails as vectors of unit length: each place's light against the mean of those around it."""
    import numpy as np

    tones = grey.astype(np.float32)
    count, rows, columns = tones.shape
    tones = tones.reshape(count, ROWS, rows // ROWS, COLUMNS, columns // COLUMNS).mean(axis=(2, 4))
    around = _AROUND
    padded = np.pad(tones, ((0, 0), (around + 1, around), (around + 1, around)), mode="edge")
    sums = padded.cumsum(axis=1, dtype=np.float64).cumsum(axis=2)
    wide = 2 * around + 1
    means = sums[:, wide:, wide:] - sums[:, :-wide, wide:] - sums[:, wide:, :-wide] + sums[:, :-wide, :-wide]
    vectors = (tones - means / wide**2).reshape(count, -1).astype(np.float32)
    vectors -= vectors.mean(axis=1, keepdims=True)
    size = np.linalg.norm(vectors, axis=1, keepdims=True)
    unit: Vectors = (vectors / np.maximum(size, 1e-3)).astype(np.float32)
    return unit


class _Movable(NamedTuple):
    """Vectors of pictures, how each changes as it moves to the side and down, and the products of these three."""

    vectors: "Vectors"
    aside: "Vectors"
    down: "Vectors"
    products: "Vectors"


def _movable(vectors: "Vectors") -> _Movable:
    import numpy as np

    pictures = vectors.reshape(-1, ROWS, COLUMNS)
    down, aside = (np.asarray(np.gradient(pictures, axis=axis)).reshape(vectors.shape) for axis in (1, 2))
    pairs = (vectors, aside), (vectors, down), (aside, aside), (aside, down), (down, down)
    return _Movable(vectors, aside, down, np.stack([np.einsum("ij,ij->i", *pair) for pair in pairs], axis=1))


def _correlation(came: "Vectors", held: _Movable, rows: list[int]) -> "Vectors":
    """Return how well pictures fit those in `rows`, each moved by up to `_WEAVE`: film weaves, and is steadied."""
    import numpy as np

    plain, aside, down = (np.einsum("ij,ij->i", came, each[rows]) for each in held[:3])
    with_aside, with_down, aside_twice, both, down_twice = held.products[rows].T
    scale = np.maximum(plain, 1e-3)
    x, y = aside / scale - with_aside, down / scale - with_down
    size = np.maximum(aside_twice * down_twice - both**2, 1e-9)
    x, y = (x * down_twice - y * both) / size, (y * aside_twice - x * both) / size
    x, y = np.clip(x, -_WEAVE, _WEAVE), np.clip(y, -_WEAVE, _WEAVE)
    length = 1 + 2 * x * with_aside + 2 * y * with_down + x**2 * aside_twice + 2 * x * y * both + y**2 * down_twice
    fits: Vectors = (plain + x * aside + y * down) / np.sqrt(np.maximum(length, 1e-3))
    return fits


def _price(right: "Vectors") -> float:
    """Return what a change of mind costs: more, the more the correlation with what the list says trembles."""
    import numpy as np

    tremble = float(np.median(np.abs(np.diff(right)))) if len(right) > 1 else 0.0
    return max(CHANGE, TREMBLE * tremble)


def _likeliest(scores: "Vectors", price: float) -> list[int]:
    """Return for each place the state of the story that fits best on the whole, each change of mind paid for."""
    import numpy as np

    best = -scores[0].astype(np.float64)
    best[1:] += price  # the list is believed until something speaks against it
    came_from = np.zeros(scores.shape, np.int16)
    for row in range(1, len(scores)):
        cheapest = int(best.argmin())
        changes = best[cheapest] + price < best
        came_from[row] = np.where(changes, cheapest, np.arange(len(best)))
        best = np.where(changes, best[cheapest] + price, best) - scores[row]
    state = int(best.argmin())
    story = [state]
    for row in range(len(scores) - 1, 0, -1):
        state = int(came_from[row, state])
        story.append(state)
    return story[::-1]


def runs(matches: Sequence[Match]) -> Iterator[list[Match]]:
    """Yield matches grouped where places follow each other and the frames that are shown go on from one to the next."""
    run: list[Match] = []
    for each in matches:
        if run and (each.place != run[-1].place + 1 or each.found.reel != run[-1].found.reel):
            yield run
            run = []
        run.append(each)
    if run:
        yield run


def sureness(run: Sequence[Match]) -> float:
    """Return how sure a run of matches is, from 0 to 1: the share of what its places say that speaks for it."""
    speaks = sum(max(each.gain, 0.0) for each in run)
    against = sum(max(-each.gain, 0.0) for each in run)
    return speaks / (speaks + against) if speaks else 0.0
