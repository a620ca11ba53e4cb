"""From a cut list to the pictures of a reference movie, one for each place; what nobody has is slated. Values only."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import groupby

from relay.media.showing import LINES, MovieOrder, Shot, Slate, Strip
from relay.model import FrameRange, ReelName, ranges_of
from relay.programme.cutlist import CutList, Shown
from relay.wording import count, in_words


class _Strips:
    """What is at hand, by reel."""

    def __init__(self, strips: Sequence[Strip]) -> None:
        self._of_reel = {strip.reel: (number, strip.held) for number, strip in enumerate(strips)}

    def number(self, shown: Shown) -> int | None:
        """Return the number of the strip that has `shown`; None where no strip does."""
        number, held = self._of_reel.get(shown.reel, (None, ()))
        place = bisect_right(held, shown.frame, key=lambda each: each.first) - 1
        return number if place >= 0 and shown.frame <= held[place].last else None


def missing_of(cut_list: CutList, strips: Sequence[Strip]) -> dict[ReelName, tuple[FrameRange, ...]]:
    """Return the frames of each reel that the programme shows and no strip has."""
    at_hand = _Strips(strips)
    lacking: dict[ReelName, set[int]] = {}
    for shown in cut_list.shown():
        if at_hand.number(shown) is None:
            lacking.setdefault(shown.reel, set()).add(shown.frame)
    return {reel: ranges_of(frames) for reel, frames in lacking.items()}


def movie_order(
    cut_list: CutList, strips: Sequence[Strip], sound: str | None = None, title: str = "", lines: int = LINES
) -> MovieOrder:
    """Return the order for a movie of as many pictures as the programme has frames, `lines` lines high."""
    slates: list[Slate] = []
    shots = tuple(shot for run in _runs(cut_list, _Strips(strips)) for shot in _shots(*run, slates))
    return MovieOrder(
        rate=str(cut_list.rate),
        lines=lines,
        strips=tuple(strips),
        slates=tuple(slates),
        shots=shots,
        sound=sound,
        title=title,
    )


def _runs(cut_list: CutList, at_hand: _Strips) -> Iterator[tuple[int | None, list[Shown]]]:
    """Yield places on end that one strip has, or that are all missing from one reel."""
    for (number, _), run in groupby(cut_list.shown(), key=lambda shown: (at_hand.number(shown), shown.reel)):
        yield number, list(run)


def _shots(strip: int | None, run: list[Shown], slates: list[Slate]) -> Iterator[Shot]:
    if strip is not None:
        yield from (Shot(strip, shown.frame) for shown in run)
        return
    frames = ranges_of({shown.frame for shown in run})
    lacking = count(sum(each.last - each.first + 1 for each in frames), "frame")
    words = (run[0].reel, f"{lacking} missing: {in_words(frames, 4)}", count(len(run), "place"))
    slates.append(Slate(kind="missing", lines=words))
    yield from (Shot(-1, 0, slate=len(slates) - 1) for _ in run)
