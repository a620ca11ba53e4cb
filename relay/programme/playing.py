"""From a cut list to the pictures of a reference movie, one for each place; what nobody has is slated. Values only."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import groupby

from relay.media.showing import LINES, MovieOrder, Shot, Slate, Strip
from relay.model import FrameRange, ReelName, every_frame, frame_count, ranges_of
from relay.programme.cutlist import CutList, Event, Shown
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
    lacking: dict[ReelName, tuple[FrameRange, ...]] = {}
    for reel, needed in cut_list.needed().items():
        if gone := {frame for frame in every_frame(needed) if at_hand.number(Shown(reel, frame)) is None}:
            lacking[reel] = ranges_of(gone)
    return lacking


def movie_order(
    cut_list: CutList, strips: Sequence[Strip], sound: str | None = None, title: str = "", lines: int = LINES
) -> MovieOrder:
    """Return the order for a movie of as many pictures as the programme has frames, `lines` lines high."""
    pictures = _Pictures(cut_list, strips)
    shots = tuple(pictures.shots())
    return MovieOrder(
        rate=str(cut_list.rate),
        lines=lines,
        strips=tuple(strips),
        slates=tuple(pictures.slates),
        shots=shots,
        sound=sound,
        title=title,
    )


class _Pictures:
    """Lays the events out in their places, each picture a frame, a mixture or a slate."""

    def __init__(self, cut_list: CutList, strips: Sequence[Strip]) -> None:
        self.slates: list[Slate] = []
        self._list = cut_list
        self._at_hand = _Strips(strips)

    def shots(self) -> Iterator[Shot]:
        """Yield a picture for each place, in order; where events leave a hole, a slate says so."""
        laid: dict[int, Shot] = {}
        before: tuple[int, Event] | None = None
        for begins, event in self._list.laid():
            shots = self._of(event, event.length, 0)
            if event.dissolve and (before is not None or event.fades):
                shots[: event.dissolve] = self._mixed(before or (begins, event), begins, event, shots)
            laid |= dict(enumerate(shots, begins))
            before = begins, event
        hole = [place for place in range(max(laid, default=-1) + 1) if place not in laid]
        if hole:
            self.slates.append(Slate(kind="missing", lines=("a hole in the list", count(len(hole), "place"))))
        return (laid.get(place, Shot(-1, 0, slate=len(self.slates) - 1)) for place in range(max(laid, default=-1) + 1))

    def _of(self, event: Event, length: int, first: int) -> list[Shot]:
        """Return `length` pictures of an event from its place `first` on."""
        if event.is_slate:
            self.slates.append(Slate(kind="title", lines=(event.title,) if event.title else ()))
            return [Shot(-1, 0, slate=len(self.slates) - 1)] * length
        places = range(first, first + length)
        shown = [Shown(event.reel, event.frame_at(place, self._list.rate)) for place in places]
        runs = groupby(shown, key=self._at_hand.number)
        return [shot for number, run in runs for shot in self._run(number, list(run))]

    def _run(self, strip: int | None, run: list[Shown]) -> list[Shot]:
        if strip is not None:
            return [Shot(strip, shown.frame) for shown in run]
        frames = ranges_of({shown.frame for shown in run})
        lacking = count(frame_count(frames), "frame")
        words = (run[0].reel, f"{lacking} missing: {in_words(frames, 4)}", count(len(run), "place"))
        self.slates.append(Slate(kind="missing", lines=words))
        return [Shot(-1, 0, slate=len(self.slates) - 1)] * len(run)

    def _mixed(self, before: tuple[int, Event], begins: int, event: Event, coming: Sequence[Shot]) -> list[Shot]:
        """Return the pictures under a dissolve: what goes runs on, and what comes grows evenly, whole after it."""
        if event.fades or before[1].is_slate:
            self.slates.append(Slate(kind="title", lines=()))
            going = [Shot(-1, 0, slate=len(self.slates) - 1)] * event.dissolve
        else:
            going = self._of(before[1], event.dissolve, begins - before[0])
        return [
            one._replace(into=other.strip, into_frame=other.frame, share=place / (event.dissolve + 1))
            if other.slate < 0
            else (other if 2 * place > event.dissolve else one)
            for place, (one, other) in enumerate(zip(going, coming, strict=False), 1)
        ]
