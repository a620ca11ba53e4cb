"""A cut list from a file's text, whatever its form: an edit list, OpenTimelineIO, or our own TOML. Pure.

Every refusal is one sentence that begins with the line, as `line 12: ...`.
"""

import re
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import floor
from types import MappingProxyType
from typing import Final

from relay.film.rates import format_rate
from relay.model import ReelName
from relay.programme.cutlist import CutList, Event

EVENTS: Final = 100_000
LARGEST: Final = 32 * 1024 * 1024
"""Characters of a list."""
FARTHEST: Final = 10_000_000
"""Frames of a reel, on either side of its start mark."""
RATES: Final = (Fraction(24), Fraction(25), Fraction(24000, 1001), Fraction(30), Fraction(30000, 1001))

_TOML = re.compile(r"^\s*(rate\s*=|\[\[event\]\])", re.MULTILINE)
_OTHERS = re.compile(r"[^A-Z0-9]")


class LineError(ValueError):
    """A fault in a list, and the line that it stands in."""

    def __init__(self, line: int, said: str) -> None:
        super().__init__(f"line {line}: {said}")
        self.line = line


@dataclass(frozen=True)
class Ground:
    """What a list does not say itself and its reader must know."""

    reels: tuple[ReelName, ...] = ()
    """The reels that it may speak of; none: any name like `A_R01` is one."""
    rate: Fraction = Fraction(24)
    """Frames a second of the programme, where the list does not say; and of its timecode."""
    zero: int | None = None
    """Of a reel's frame 0, as frames of timecode; None: one hour, as reference copies have it, for leader before it."""
    held: Mapping[ReelName, Fraction] = field(default_factory=lambda: MappingProxyType({}))
    """The speeds of reference copies that hold frames: their timecode counts pictures, not frames of the reel."""

    def start(self) -> int:
        """Return the timecode of frame 0, as frames."""
        return 3600 * round(self.rate) if self.zero is None else self.zero

    def reel(self, name: str) -> ReelName:
        """Return the reel that a list means by `name`, whatever its signs and its case. Raises ValueError."""
        if not name.isprintable():
            raise ValueError(f"reel {name!a} holds signs that cannot be seen: expected letters and figures")
        wanted = squeezed(name)
        known = [reel for reel in self.reels if squeezed(reel) == wanted]
        known = known or [reel for reel in self.reels if len(wanted) == CUT_AT and squeezed(reel)[:CUT_AT] == wanted]
        if len(known) == 1:
            return known[0]
        if known:
            raise ValueError(f"reel {name!r} may be {' or '.join(known)}: give the editor names that differ")
        if not self.reels and (found := re.fullmatch(r"([A-Za-z0-9]+)[_/]([A-Za-z0-9]+)", name)):
            return ReelName(f"{found[1]}/{found[2]}")
        names = ", ".join(self.reels[:6]) + (" ..." if len(self.reels) > 6 else "")
        raise ValueError(f"there is no reel {name!r}: expected one of {names or 'the reels, such as A_R01'}")

    def placed(self, event: Event, label: int, *, by_frames: bool = False) -> Event:
        """Return `event` from the source at `label` frames of timecode after the start mark's, at its own speed.

        `by_frames`: the list counts the reel's own frames, whatever reference copies do.
        """
        speed = None if by_frames else self.held.get(event.reel)
        if speed is None:
            return replace(event, first=label)
        exact = label * speed / self.rate
        return replace(event, first=floor(exact), into=exact % 1, speed=event.speed * speed / self.rate)


CUT_AT = 8
"""Characters of a reel's name that an edit list carries."""


def squeezed(name: str) -> str:
    """Return `name` in capitals, with letters and figures only."""
    return _OTHERS.sub("", name.upper())


def parse_list(text: str, ground: Ground | None = None) -> CutList:
    """Return the cut list in a file's text; where there are holes and overlaps, its events say their places.

    Raises ValueError with the line.
    """
    from relay.programme.edl import parse_edl
    from relay.programme.otio_form import parse_otio
    from relay.programme.own_form import parse_own_form

    if len(text) > LARGEST:
        raise LineError(1, f"the list has {len(text):,} characters: expected at most {LARGEST:,}")
    begins = text.lstrip("\ufeff \t\r\n")[:1]
    if not begins:
        raise LineError(1, "the list is empty: expected events")
    if begins == "<":
        line = text[: text.index("<")].count("\n") + 1
        raise LineError(
            line, "this is XML, which is none of the forms read here: save it as an EDL or as OpenTimelineIO"
        )
    if begins == "{":
        return parse_otio(text, ground or Ground())
    return parse_own_form(text) if _TOML.search(text) else parse_edl(text, ground or Ground())


def text_of(body: bytes) -> str:
    """Return a list's bytes as text: UTF-8, or UTF-16 that begins with its mark. Raises LineError."""
    kind = "utf-16" if body.startswith((BOM_UTF16_LE, BOM_UTF16_BE)) else "utf-8"
    try:
        return body.decode(kind)
    except UnicodeDecodeError as fault:
        line = body.count(b"\n", 0, fault.start) + 1
        raise LineError(line, f"byte {fault.start} is not {kind.upper()}: save the list as UTF-8 text") from None


def parse_programme(text: str, ground: Ground | None = None) -> CutList:
    """Return the cut list in a file's text. Raises ValueError with the line, for a hole and an overlap as well."""
    from relay.programme.checking import check_whole

    cut_list = parse_list(text, ground)
    check_whole(cut_list)
    return cut_list


def in_order(rate: Fraction, placed: Iterable[tuple[int, Event]]) -> CutList:
    """Return the list of events with their places, which it keeps only where one does not follow the one before."""
    end = 0
    events: list[Event] = []
    for begins, event in sorted(placed, key=lambda each: each[0]):
        fades = event.fades and not (events and events[-1].is_slate)  # from a slate, a dissolve is a fade
        events.append(replace(event, at=None if begins == end else begins, fades=fades))
        end = begins + event.length
    return CutList(rate, tuple(events))


def speed_in(line: int, text: str) -> Fraction:
    """Return frames a second from a list's decimal. Raises LineError."""
    from relay.film.rates import FASTEST, parse_rate

    if text.startswith("-"):
        raise LineError(line, f"speed {text} runs backwards: expected 0 (a freeze) to {FASTEST} frames a second")
    figures = text.lstrip("+").lstrip("0") or "0"
    figures = f"0{figures}" if figures.startswith(".") else figures
    if re.fullmatch(r"0(\.0*)?", figures):
        return Fraction(0)
    try:
        return parse_rate(re.sub(r"\.0+$", "", figures))
    except ValueError as fault:
        raise LineError(line, str(fault)) from None


def decimal_of(speed: Fraction) -> tuple[str, bool]:
    """Return `speed` as an edit list writes it, like 016.0, and whether that is exact."""
    tenths = round(speed * 10)
    return f"{tenths // 10:03d}.{tenths % 10}", Fraction(tenths, 10) == speed


def in_our_words(rate: Fraction) -> str:
    """Return a speed as people say it."""
    return "a freeze" if rate == 0 else f"{format_rate(rate)} frames a second"
