"""Whether frames of a print made it into the programme, and if not, why not, or that nobody said. Values only."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import NamedTuple

from relay.ledger.decision_state import Decision
from relay.model import FrameRange, Place, ReelName, ranges_of
from relay.programme.cutlist import CutList

WHY_NOT = ("not used", "replaced")
"""That a print is preferred, or was repaired, is no reason for leaving frames of it out."""


class Fate(NamedTuple):
    """A run of frames with one answer."""

    frames: FrameRange
    """In the reel's own numbers."""
    shown: tuple[FrameRange, ...]
    """Where the programme shows them, counted from 0; empty: nowhere."""
    decision: Decision | None
    """The word that counts for them; None: nobody said. Of frames that are not shown, only a word that says why not."""


Places = Mapping[int, Sequence[int]]
"""Where the programme shows each frame of one reel."""


def places_by_reel(cut: CutList) -> dict[ReelName, dict[int, list[int]]]:
    """Return where the programme, counted from 0, shows each frame of each reel; what goes under a dissolve, too."""
    found: dict[ReelName, dict[int, list[int]]] = {}
    for (begins, event), more in zip(cut.laid(), cut.leaving(), strict=True):
        frames = found.setdefault(event.reel, {})
        for place in range(event.length + more):
            frames.setdefault(event.frame_at(place, cut.rate), []).append(begins + place)
    return found


def fates(reel: ReelName, frames: Iterable[int], shown: Places, decisions: Sequence[Decision]) -> tuple[Fate, ...]:
    """Return what became of each of `frames`, in as few runs as there are answers.

    The decision that counts for a frame is the one on the smallest place, and of those the newest.
    """
    about = _about(reel, decisions)
    whys = [each for each in about if each.word.verdict in WHY_NOT]
    answers = [
        (frame, frame in shown, _in_force(about if frame in shown else whys, frame)) for frame in sorted(set(frames))
    ]
    runs = groupby(enumerate(answers), key=lambda at: (at[1][0] - at[0], at[1][1], at[1][2] and at[1][2].entry))
    return tuple(_fate([answer for _, answer in run], shown) for _, run in runs)


def _about(reel: ReelName, decisions: Sequence[Decision]) -> list[Decision]:
    """Return the decisions that say something of `reel`, the narrowest and newest first."""
    place = Place(about=reel)
    found = [each for each in decisions if not each.word.place.is_programme and each.word.place.touches(place)]
    return sorted(found, key=lambda each: (_narrowness(each.word.place), each.entry), reverse=True)


def _narrowness(place: Place) -> int:
    return 2 if place.frames else 1 if place.reel else 0


def _in_force(about: Sequence[Decision], frame: int) -> Decision | None:
    for each in about:
        ranges = each.word.place.frames
        if not ranges or any(of.first <= frame <= of.last for of in ranges):
            return each
    return None


def _fate(run: Sequence[tuple[int, bool, Decision | None]], shown: Places) -> Fate:
    frames = FrameRange(first=run[0][0], last=run[-1][0])
    places = {at for frame, _, _ in run for at in shown.get(frame, ())}
    return Fate(frames, ranges_of(places), run[0][2])
