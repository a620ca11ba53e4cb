"""Two prints put side by side: a framing from a first walk, a second walk in it, then each shot weighed closely."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from relay.model import VersionName
from relay.programme.alignment.cleaning import cleaned
from relay.programme.alignment.doubting import Chances, Doubles, chances
from relay.programme.alignment.few import FEW, found_by_picture
from relay.programme.alignment.flat import other_tone
from relay.programme.alignment.framing_closely import closely_framed
from relay.programme.alignment.holding import held
from relay.programme.alignment.pictures import COLUMNS, OVER, ROWS, Floats, Framing, Grey, averaged, described, outlines
from relay.programme.alignment.places import placed
from relay.programme.alignment.registering import framing_between
from relay.programme.alignment.steadying import Steadied, breaks, steadied, tones
from relay.programme.alignment.walking import NONE, Costs, Frames, Row, best_walk
from relay.programme.alignment.weighing import ALIKE, Likeness, around, around_shots, from_cut, likeness, unit, weighed
from relay.programme.framemap import FrameMap, Match

_AT_CUT = Costs(repeat=4.0, skip=4.0, skip_on=0.01, none=3.0, none_on=0.05, jump=14.0)
ROUGH = _AT_CUT, replace(_AT_CUT, jump=40.0), replace(_AT_CUT, jump=40.0)
CLOSE = (
    Costs(repeat=9.0, skip=3.0, skip_on=0.01, none=3.0, none_on=0.02, jump=16.0),
    Costs(repeat=9.0, skip=9.0, skip_on=0.01, none=4.0, none_on=0.02, jump=32.0),
    Costs(repeat=9.0, skip=9.0, skip_on=0.01, none=9.0, none_on=0.02, jump=32.0),
)
"""At a cut, near one, elsewhere: frames are mostly lost at splices, and shots are moved whole."""
CHOICE = (Costs(repeat=0.05, skip=0.02, skip_on=0.0, none=0.01, none_on=0.0, jump=0.3),) * 3
"""In chances, not nats: among walks of much the same chance, the one that goes straight on."""
_WIDTH = 40  # frames to either side of a walk
_LOOKS = 160  # pairs of frames that show how one frame lies against the other
_AT_ONCE = 256
_FEW = 20
_FRAGMENT = 2
_CALM = 4  # frames to either side
_CALM_SHARE = 0.4


Reel = tuple[Frames, Grey]
"""Frame numbers, ascending, and a thumbnail (high, wide) of each."""
_HALVES = (np.arange(ROWS * COLUMNS) % COLUMNS < COLUMNS // 2, np.arange(ROWS * COLUMNS) % COLUMNS >= COLUMNS // 2)
"""Left and right: what the whole picture says is sure only where each half by itself says it too."""
SURE = 0.9
"""How likely a match must be, that it may be relied on."""
_HALF = 0.06
"""A half sees less: 0.17 by half of the picture counts like 0.9 by all of it."""
_TURNS = 2
_BOUND = 60.0  # nats: no picture speaks against a pin


Asked = TypeVar("Asked")
Answered = TypeVar("Answered")


class PinError(ValueError):
    """A pin names a frame that cannot be compared."""


@dataclass(frozen=True)
class Found:
    """Of each frame of A and B: the other's frame or NONE, its chance, whether neighbours look the same."""

    frame: Frames
    chance: NDArray[np.float64]
    is_still: NDArray[np.bool_]
    other_chance: NDArray[np.float64]
    """Of frames of B without a match: how likely that is."""
    other_still: NDArray[np.bool_]
    framing: Framing


def frame_map_between(
    names: tuple[VersionName, VersionName], one: Reel, other: Reel, pins: Iterable[tuple[int, int]] = ()
) -> FrameMap:
    """Put two prints' thumbnails side by side; `pins` are pairs of frame numbers that show the same, and bind.

    Deterministic. Raises PinError where a pin's frame has no thumbnail.
    """
    if len(one[0]) > _FRAGMENT * len(other[0]) > 0:  # a fragment is looked for in a reel, not a reel in it
        return frame_map_between(names[::-1], other, one, ((match, frame) for frame, match in pins)).inverse()
    bound = {_place(one[0], frame): _place(other[0], match) for frame, match in pins}
    if not len(one[0]) or not len(other[0]):
        there, back = (dict.fromkeys(each[0].tolist(), Match(None, 100, sure=True)) for each in (one, other))
        return FrameMap.built(*names, there, back)
    found = aligned(one[1], other[1], bound)
    turned, chance = np.full(len(other[0]), NONE, np.int64), found.other_chance.copy()
    for at in np.argsort(found.chance, kind="stable"):
        if found.frame[at] != NONE:
            turned[found.frame[at]], chance[found.frame[at]] = at, found.chance[at]
    there = _said(one[0], other[0], found.frame, found.chance, found.is_still)
    back = _said(other[0], one[0], turned, chance, found.other_still & (turned != NONE))
    return FrameMap.built(*names, there, back)


def _said(
    numbers: Frames, others: Frames, frame: Frames, chance: NDArray[np.float64], is_still: NDArray[np.bool_]
) -> dict[int, Match]:
    return {
        number: Match(None if match == NONE else int(others[match]), round(100 * likely), likely >= SURE, alike)
        for number, match, likely, alike in zip(
            numbers.tolist(), frame.tolist(), chance.tolist(), is_still.tolist(), strict=True
        )
    }


def _place(numbers: Frames, frame: int) -> int:
    at = int(np.searchsorted(numbers, frame))
    if at == len(numbers) or numbers[at] != frame:
        raise PinError(f"a pin names frame {frame}, of which there is no thumbnail: lift it, or pin another frame")
    return at


def aligned(one: Grey, other: Grey, pins: Mapping[int, int] | None = None) -> Found:
    """Align two prints' thumbnails (frames, high, wide), of at least one frame each; `pins` by index."""
    bound = dict(pins or {})
    if min(len(one), len(other)) < FEW:
        return _apart(one, other, _by_picture(one, other, bound), bound)
    clean, clean_other = _both(cleaned, (one, other))
    return _apart(one, other, _aligned(clean, clean_other, bound), bound)


def _aligned(one: Grey, other: Grey, bound: Mapping[int, int]) -> Found:
    framing = _framing(one, other)
    inside = framing.is_inside() & Framing().is_inside()
    here, there = _both(lambda each: described(*each, inside), ((one, Framing()), (other, framing)))
    walk = _rough(outlines(here), outlines(there), from_cut(here), bound)
    close = _closer(here, there, walk, bound, is_close=False)
    framing = _bettered(one, other, close.walk, here, framing)
    steady, other_steady = _steadied(one, other, framing, close.walk)
    close = _closer(steady.pictures, other_steady.pictures, close.walk, bound, is_close=True)
    for _ in range(_TURNS):
        close = _closest(steady, other_steady, close, bound)
    close = replace(close, walk=held(close.walk, close.rows))
    return _found(close, _doubted(steady, other_steady, close, bound), bound, framing)


def _by_picture(one: Grey, other: Grey, bound: Mapping[int, int]) -> Found:
    if len(one) <= len(other):
        here = found_by_picture(one, other, bound)
        there = here.turned()
    else:
        there = found_by_picture(other, one, {match: at for at, match in bound.items()})
        here = there.turned()
    return Found(here.place, here.chance, here.is_alike, there.chance, there.is_alike, Framing())


def _apart(one: Grey, other: Grey, found: Found, bound: Mapping[int, int]) -> Found:
    """Return what was found without matches of black frames and white ones: neither has a picture to tell them by."""
    apart = other_tone(one, other, found.frame)
    apart[list(bound)] = False
    if not apart.any():
        return found
    other_chance = found.other_chance.copy()
    other_chance[found.frame[apart]] = 1.0
    return replace(
        found,
        frame=np.where(apart, NONE, found.frame),
        chance=np.where(apart, 1.0, found.chance),
        is_still=found.is_still & ~apart,
        other_chance=other_chance,
    )


@dataclass(frozen=True)
class _Close:
    """A walk, and what spoke for it."""

    walk: Frames
    rows: list[Row]
    doubts: list[Chances]
    is_still: NDArray[np.bool_]


def _closer(here: Floats, there: Floats, walk: Frames, bound: Mapping[int, int], *, is_close: bool) -> _Close:
    low, high = _reaching(around(walk, len(there), _WIDTH), bound)
    close = weighed(here, there, walk, low, high, _likeness(here, there, walk), is_close=is_close)
    return _walked(list(_kept_to(close.rows, bound)), close.is_still, bound)


def _closest(here: Steadied, there: Steadied, close: _Close, bound: Mapping[int, int]) -> _Close:
    bounds = _around_shots(here, there, close.walk, bound)
    return _walked(_placed(here, there, close.walk, bounds, bound), close.is_still, bound)


def _walked(rows: list[Row], is_still: NDArray[np.bool_], bound: Mapping[int, int]) -> _Close:
    doubts = chances(rows, CLOSE)
    return _Close(_likeliest(doubts, bound), rows, doubts, is_still)


def _placed(
    here: Steadied, there: Steadied, walk: Frames, bounds: tuple[Frames, Frames], bound: Mapping[int, int]
) -> list[Row]:
    alike = _likeness(here.pictures, there.pictures, walk)
    return list(_kept_to(placed(here, there, walk, bounds, alike), bound))


def _around_shots(here: Steadied, there: Steadied, walk: Frames, bound: Mapping[int, int]) -> tuple[Frames, Frames]:
    return _reaching(around_shots(here.pictures, there.pictures, walk, _WIDTH), bound)


def _reaching(bounds: tuple[Frames, Frames], pins: Mapping[int, int]) -> tuple[Frames, Frames]:
    """Return what frames come into question, those that people pinned included."""
    low, high = bounds
    for at, match in pins.items():
        low[at], high[at] = min(low[at], match), max(high[at], match + 1)
    return low, high


def _likeliest(doubts: list[Chances], pins: Mapping[int, int]) -> Frames:
    return best_walk(_kept_to(map(_preference, doubts), pins), len(doubts), CHOICE)


def _steadied(one: Grey, other: Grey, framing: Framing, walk: Frames) -> tuple[Steadied, Steadied]:
    inside = framing.is_inside() & Framing().is_inside()
    broken, other_broken = breaks(walk)
    here, there = _both(
        lambda each: steadied(*each, inside), ((one, Framing(), broken), (other, framing, other_broken))
    )
    return here, there


def _doubted(here: Steadied, there: Steadied, close: _Close, bound: Mapping[int, int]) -> tuple[Doubles, Doubles]:
    """Return how likely each match is, and how likely it is that a frame has none, as halves of the picture see it.

    Stains, scratches and a framing that is off speak for one lag in one half and for another in the other.
    """
    chance, lacks = _chance(close.walk, close.doubts), np.array([each.none for each in close.doubts])
    bounds = _around_shots(here, there, close.walk, bound)

    def again(half: NDArray[np.bool_]) -> list[Chances]:
        part, other = (each._replace(pictures=each.pictures * half) for each in (here, there))
        return chances(_placed(part, other, close.walk, bounds, bound), CLOSE)

    for each in _both(again, _HALVES):
        chance = np.minimum(chance, _chance(close.walk, each) ** _HALF)
        lacks = np.minimum(lacks, np.array([one.none for one in each]) ** _HALF)
    return chance, lacks


def _both(work: Callable[[Asked], Answered], parts: tuple[Asked, Asked]) -> list[Answered]:
    """Return what `work` makes of either part, side by side: NumPy lets go of the interpreter meanwhile."""
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(work, parts))


def _found(close: _Close, doubted: tuple[Doubles, Doubles], bound: Mapping[int, int], framing: Framing) -> Found:
    walk, (chance, lacks) = close.walk, doubted
    for at, match in bound.items():
        walk[at], chance[at] = match, 2.0  # above all: a stretch with a pin keeps its frames
    walk = _one_to_one(walk, chance)
    return Found(
        walk,
        np.where(walk == NONE, lacks, np.minimum(chance, 1)),
        np.where(walk == NONE, False, close.is_still[walk]),
        _unmatched(close.doubts, len(close.is_still)),
        close.is_still,
        framing,
    )


def _preference(each: Chances) -> Row:
    return Row(each.low, (each.match - each.none).astype(np.float32))


def _kept_to(rows: Iterable[Row], pins: Mapping[int, int]) -> Iterator[Row]:
    """Return the rows with what people pinned above all that pictures say."""
    if not pins:
        yield from rows
        return
    pinned = np.array(sorted(pins.values()), np.int64)
    for at, row in enumerate(rows):
        there = pinned[(pinned >= row.low) & (pinned < row.low + len(row.scores))] - row.low
        if at not in pins and not len(there):
            yield row
            continue
        scores = np.full_like(row.scores, -_BOUND) if at in pins else row.scores.copy()
        scores[there] = -_BOUND
        if at in pins:
            scores[pins[at] - row.low] = _BOUND
        yield replace(row, scores=scores)


def _unmatched(doubts: list[Chances], count: int) -> NDArray[np.float64]:
    """Return for each frame of B how likely it is that A has none like it."""
    matched = np.zeros(count)
    for each in doubts:
        matched[each.low : each.low + len(each.match)] += each.match
    return np.clip(1 - matched, 0.0, 1.0)


def _framing(one: Grey, other: Grey) -> Framing:
    """Find how B's frames lie against A's, by those of a rough walk that are most alike."""
    step = max(1, max(len(one), len(other)) // 2500)
    whole = Framing().is_inside()
    seen, shown = (described(each[::step], Framing(), whole) for each in (one, other))
    here, there = (outlines(each, OVER // step) for each in (seen, shown))
    walk = _rough(here, there, from_cut(seen), {})
    known = np.flatnonzero(walk != NONE)
    if not len(known):
        return Framing()
    alike = (here[known] * there[walk[known]]).sum(axis=1)
    best = known[alike >= np.quantile(alike, 0.3)]
    some = best[np.linspace(0, len(best) - 1, min(_LOOKS, len(best))).astype(int)]
    return framing_between(one[some * step], other[walk[some] * step])


def _bettered(one: Grey, other: Grey, walk: Frames, here: Floats, framing: Framing) -> Framing:
    """Find the framing again, by frames of a walk that move least: there a walk that is late does no harm.

    Several frames are taken together: weave, dust and grain come and go.
    """
    at = np.arange(_CALM, len(one) - _CALM)
    step = walk[_CALM:-_CALM] if len(at) else walk[:0]
    goes_on = np.ones(len(at), bool)
    for beside in range(-_CALM, _CALM + 1):
        goes_on &= (walk[at + beside] == step + beside) & (step != NONE)
    at = at[goes_on]
    if len(at) < _FEW:
        return framing
    calm = averaged(here, _CALM)
    seen = np.any(here, axis=0)
    moves = np.median(np.abs(calm[at + _CALM] - calm[at - _CALM])[:, seen], axis=1)  # actors may move: the ground not
    moves /= np.median(np.abs(calm[at])[:, seen], axis=1) + 1e-3
    still = at[moves <= np.quantile(moves, _CALM_SHARE)]
    some = still[np.linspace(0, len(still) - 1, min(_LOOKS, len(still))).astype(int)]
    tone = tones(one, other, walk, framing)
    return closely_framed(_together(one, tone[0], some), _together(other, tone[1], walk[some]), framing)


def _together(grey: Grey, tone: Floats, at: Frames) -> Floats:
    return np.asarray(sum(tone[grey[at + beside]] for beside in range(-_CALM, _CALM + 1)) / (2 * _CALM + 1), np.float32)


def _rough(here: Floats, there: Floats, cuts: Frames, pins: Mapping[int, int]) -> Frames:
    return best_walk(_kept_to(_rows(here, there, cuts, likeness(here, there)), pins), len(here), ROUGH)


def _rows(here: Floats, there: Floats, cuts: Frames, alike: Likeness) -> Iterator[Row]:
    for start in range(0, len(here), _AT_ONCE):
        scores = alike.score(here[start : start + _AT_ONCE] @ there.T, 3.0, -4.0)
        for at, row in enumerate(scores, start):
            yield Row(0, row, int(cuts[at]))


def _likeness(here: Floats, there: Floats, walk: Frames) -> Likeness:
    known = np.flatnonzero(walk != NONE)
    here, there = unit(here), unit(there)
    broad = likeness(here, there)
    if len(known) < 10:
        return broad
    along = (here[known] * there[walk[known]]).sum(axis=1)
    return Likeness(max(float(np.median(along)), ALIKE), broad.other)


def _chance(frame: Frames, doubts: list[Chances]) -> NDArray[np.float64]:
    """Return how likely each frame's match is: among frames that look the same, none is by itself."""
    return np.array(
        [
            0.0 if match == NONE else each.match[match - each.low]
            for match, each in zip(frame.tolist(), doubts, strict=True)
        ]
    )


def _one_to_one(frame: Frames, chance: NDArray[np.float64]) -> Frames:
    """Return the map without frames of B that are claimed a second time elsewhere: the likelier stretch keeps them."""
    out = frame.copy()
    starts = np.flatnonzero(np.concatenate([[True], (np.diff(frame) < 0) | (np.diff(frame) > 400)]))
    runs = [np.arange(a, b) for a, b in zip(starts, [*starts[1:], len(frame)], strict=True)]
    runs = [run[frame[run] != NONE] for run in runs]
    taken: set[int] = set()
    for run in sorted(runs, key=lambda run: -float(chance[run].sum())):
        lost = np.array([int(each) in taken for each in frame[run]], bool)
        out[run[lost]] = NONE
        taken.update(frame[run].tolist())
    return out
