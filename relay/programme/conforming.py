"""What a lab returned against the cut list, frame for frame: by declared number, then by picture; and the report of it.

Values and rules; reads nothing. Places are frames of the programme, counted from 0 as the list has them.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Annotated, Literal, NamedTuple

from pydantic import Field

from relay.model import DigestField, FrameRange, Frozen, ReelField, VersionField, ranges_of
from relay.programme.cutlist import SLATE, CutList, Shown
from relay.programme.matching import CHANGE, Match, Pictures, runs, sureness
from relay.programme.mixing import Mixtures

FORM: Literal[1] = 1
RUNS_TOLD = 500
"""Of wrong places in a report; more of them are counted."""
SURE = 0.9
PLAIN = 4.0
"""A run of pictures blocks where it is surer than `SURE` and fits better by this times what a change of mind costs."""

Reading = Literal["place", "source", "nothing"]
"""What the headers' frame positions count: places of the programme, frames of the source, or nothing that fits."""


class Displaced(Frozen):
    """Places on end that show other frames of one reel than the list says."""

    places: FrameRange
    reel: ReelField
    first: int
    """The frame of `reel` that the list has for the first of these places."""
    shows: ReelField
    shows_first: int
    """What lies there instead, as the number or the picture says."""
    by: Literal["number", "picture"]
    sure: Annotated[float, Field(ge=0, le=1)] = 1.0
    blocks: bool = True


class ConformReport(Frozen):
    """How what came back lies to the list."""

    relay_conform: Literal[1] = FORM
    cut_list: DigestField
    """Of the list that it was held against."""
    version: VersionField | None = None
    """What came back; None for a folder."""
    places: int
    came: int
    missing: tuple[FrameRange, ...] = ()
    """Places that nothing came back for."""
    extra: tuple[FrameRange, ...] = ()
    """Numbers that are no place of the list."""
    reading: Reading = "nothing"
    displaced: Annotated[tuple[Displaced, ...], Field(max_length=RUNS_TOLD)] = ()
    displaced_in_all: int = 0
    compared: int = 0
    """Places whose picture was compared with its source's."""
    mixed: int = 0
    """Of these, the places under dissolves, compared with both of their frames."""
    unsure: int = 0
    """Of these, the places that look like their neighbours: only the number speaks for them."""
    unlike: tuple[FrameRange, ...] = ()
    """Places that look like nothing around their source."""

    def blocking(self) -> int:
        """Return how many findings block acceptance."""
        untold = self.displaced_in_all - len(self.displaced)
        return len(self.missing) + len(self.extra) + sum(each.blocks for each in self.displaced) + untold

    def warning(self) -> int:
        """Return how many findings only warn."""
        return len(self.unlike) + sum(not each.blocks for each in self.displaced)

    def encode(self) -> bytes:
        """Return the report as it is stored: JSON."""
        return self.model_dump_json(indent=1).encode() + b"\n"


def parse_conform_report(body: bytes) -> ConformReport:
    """Return the report that `body` is the stored form of. Raises ValueError."""
    return ConformReport.model_validate_json(body)


class Declared(NamedTuple):
    """What the headers say a place shows, where that is not what the list says."""

    place: int
    found: Shown


def mixed_places(cut_list: CutList) -> frozenset[int]:
    """Return the places that show no one frame of a reel: slates, and those under a dissolve."""
    found: set[int] = set()
    for begins, event in cut_list.laid():
        found |= set(range(begins, begins + (event.length if event.is_slate else event.dissolve)))
    return frozenset(found)


def declared(
    wanted: Sequence[Shown],
    positions: Mapping[int, int | None],
    mixed: frozenset[int] = frozenset(),
    going: Mapping[int, Shown] = MappingProxyType({}),
) -> tuple[Reading, tuple[Declared, ...]]:
    """Return how the headers' frame positions are to be read, and the places whose position says something else.

    `positions` are by place, None where a header has none. A lab numbers what it returns anew or carries the numbers
    of its source on, from whatever first number: the reading that most places agree with is taken, and where fewer than
    half do, the positions say nothing. `mixed` places have no say in that, and nothing is expected of their headers but
    under a dissolve: there a header may carry on the number of either frame, of what comes or of what is `going`.
    """
    told = {
        place: position
        for place, position in positions.items()
        if position is not None and place < len(wanted) and place not in mixed
    }
    by_place = {place: position - place for place, position in told.items()}
    by_source = {place: position - wanted[place].frame for place, position in told.items()}
    readings: tuple[tuple[Reading, dict[int, int]], ...] = (("source", by_source), ("place", by_place))
    reading, apart = max(readings, key=lambda each: _most(each[1])[1])
    offset, votes = _most(apart)
    if 2 * votes <= len(told):
        return "nothing", ()
    wrong = {place: step - offset for place, step in apart.items() if step != offset}
    wrong |= _wrong_under_dissolves(wanted, positions, going, reading, offset)
    found = (Declared(place, _meant(wanted, reading, place, step)) for place, step in sorted(wrong.items()))
    return reading, tuple(each for each in found if each.found != wanted[each.place])


def _wrong_under_dissolves(
    wanted: Sequence[Shown],
    positions: Mapping[int, int | None],
    going: Mapping[int, Shown],
    reading: Reading,
    offset: int,
) -> dict[int, int]:
    """Return how far off each header under a dissolve is that carries neither frame's number on."""
    wrong = {}
    for place, gone in going.items():
        position = positions.get(place)
        if position is None or place >= len(wanted) or wanted[place].reel == SLATE:
            continue
        meant = {place} if reading == "place" else {wanted[place].frame, gone.frame}
        if position - offset not in meant:
            wrong[place] = position - offset - (place if reading == "place" else wanted[place].frame)
    return wrong


def _most(apart: Mapping[int, int]) -> tuple[int, int]:
    """Return the difference that most places have, 0 before others as frequent, and how many have it."""
    counted = Counter(apart.values())
    best = max(counted, key=lambda each: (counted[each], each == 0), default=0)
    return best, counted[best]


def _meant(wanted: Sequence[Shown], reading: Reading, place: int, step: int) -> Shown:
    """Return the frame that a header means whose position is `step` off."""
    if reading == "place":
        there = min(max(place + step, 0), len(wanted) - 1)
        return wanted[there]
    return Shown(wanted[place].reel, wanted[place].frame + step)


def conformed(
    wanted: Sequence[Shown],
    positions: Mapping[int, int | None],
    pictures: Pictures | None,
    cut_list: str,
    version: str | None = None,
    mixed: frozenset[int] = frozenset(),
    going: Mapping[int, Shown] = MappingProxyType({}),
    mixtures: Mixtures | None = None,
) -> ConformReport:
    """Return the report of frames that came back under these places; `pictures` None: nobody compared them."""
    came, places = set(positions), set(range(len(wanted)))
    reading, by_number = declared(wanted, positions, mixed, going)
    displaced = [
        *_by_number(wanted, by_number),
        *(_by_pictures(wanted, pictures, {each.place for each in by_number}) if pictures else ()),
        *(_by_mixtures(mixtures, pictures.price) if pictures and mixtures else ()),
    ]
    displaced.sort(key=lambda each: (not each.blocks, each.places.first))
    return ConformReport.model_validate(
        {
            "cut_list": cut_list,
            "version": version,
            "places": len(wanted),
            "came": len(came),
            "missing": ranges_of(places - came),
            "extra": ranges_of(came - places),
            "reading": reading,
            "displaced": tuple(displaced[:RUNS_TOLD]),
            "displaced_in_all": len(displaced),
            "compared": (pictures.compared if pictures else 0) + (mixtures.compared if mixtures else 0),
            "mixed": mixtures.compared if mixtures else 0,
            "unsure": pictures.unsure if pictures else 0,
            "unlike": ranges_of({*(pictures.unlike if pictures else ()), *(mixtures.unlike if mixtures else ())}),
        }
    )


def _by_number(wanted: Sequence[Shown], wrong: Sequence[Declared]) -> Iterator[Displaced]:
    for run in runs([Match(each.place, each.found, 1.0) for each in wrong]):
        yield _displaced(wanted, run, "number", 1.0, blocks=True)


def _by_pictures(wanted: Sequence[Shown], pictures: Pictures, known: set[int]) -> Iterator[Displaced]:
    for run in runs([each for each in pictures.matches if each.place not in known]):
        sure, gain = sureness(run), sum(each.gain for each in run)
        yield _displaced(wanted, run, "picture", round(sure, 3), blocks=sure >= SURE and gain >= PLAIN * pictures.price)


def _by_mixtures(mixtures: Mixtures, price: float) -> Iterator[Displaced]:
    for slip in mixtures.slips:
        yield Displaced(
            places=FrameRange(first=slip.places[0], last=slip.places[1]),
            reel=slip.expected.reel,
            first=slip.expected.frame,
            shows=slip.found.reel,
            shows_first=slip.found.frame,
            by="picture",
            sure=round(slip.sure, 3),
            blocks=slip.sure >= SURE and slip.gain >= PLAIN * max(price, CHANGE),
        )


def _displaced(
    wanted: Sequence[Shown], run: Sequence[Match], by: Literal["number", "picture"], sure: float, *, blocks: bool
) -> Displaced:
    first = run[0]
    return Displaced(
        places=FrameRange(first=first.place, last=run[-1].place),
        reel=wanted[first.place].reel,
        first=wanted[first.place].frame,
        shows=first.found.reel,
        shows_first=first.found.frame,
        by=by,
        sure=sure,
        blocks=blocks,
    )
