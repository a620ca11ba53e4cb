"""Edit lists in the form of CMX 3600: text in, a cut list out, and back. Pure.

Read here line by line, since every fault is told with its line and speeds are exact; docs/decisions/cut-lists.md.
What the form cannot carry stands in comments of ours, which other readers pass over:

* RELAY REEL AR01 IS A/R01 FRAME 0 AT 01:00:00:00     which reel, and where its start mark stands
* RELAY SPEED 200/11                                  the speed, where the M2 line before it is rounded
* RELAY INTO 2/3                                      how far into its first frame the event begins
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction

from relay.film.timecode import format_timecode, parse_timecode
from relay.model import ReelName, parse_reel
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.reading import (
    CUT_AT,
    EVENTS,
    FARTHEST,
    RATES,
    Ground,
    LineError,
    decimal_of,
    in_order,
    in_our_words,
    speed_in,
    squeezed,
)
from relay.wording import printable

BLACK = "BL"
_LABEL = r"[0-9]{2}:[0-9]{2}:[0-9]{2}[:;][0-9]{2}"
_EDIT = re.compile(
    r"(?P<number>[0-9]{1,6})[A-Z]?\s+(?P<reel>\S{1,128})\s+(?P<tracks>\S{1,16})\s+(?P<how>[A-Z][A-Z0-9]{0,3})"
    rf"(?:\s+(?P<over>[0-9]{{1,4}}))?\s+({_LABEL})\s+({_LABEL})\s+({_LABEL})\s+({_LABEL})"
)
_M2 = re.compile(rf"M2\s+(?P<reel>\S{{1,128}})\s+(?P<speed>[+-]?[0-9]{{1,4}}(?:\.[0-9]{{1,9}})?)\s+({_LABEL})")
_REEL = re.compile(rf"RELAY REEL (\S{{1,128}}) IS (\S{{1,64}}) FRAME 0 AT ({_LABEL})")
_OURS = re.compile(r"RELAY (SPEED|INTO) ([0-9]{1,6}(?:/[0-9]{1,6})?)")
_NAME = re.compile(r"(?:FROM|TO) CLIP NAME:\s*(.*)", re.IGNORECASE)
_PASSED = re.compile(r"(TITLE:|FCM:|SPLIT:|>>>|AUD\s|M3\s|EFFECTS NAME|FINAL CUT)", re.IGNORECASE)


@dataclass
class _Edit:
    """One line of a list, with what the lines after it say of it."""

    line: int
    number: str
    reel: str
    how: str
    over: int
    source: tuple[int, int]
    record: tuple[int, int]
    speed: Fraction | None = None
    into: Fraction = Fraction(0)
    name: str = ""

    @property
    def is_empty(self) -> bool:
        return self.record[0] == self.record[1]


@dataclass
class _Sheet:
    """A list as far as it was read."""

    ground: Ground
    edits: list[_Edit] = field(default_factory=list)
    ours: dict[str, tuple[ReelName, int]] = field(default_factory=dict)
    """Reels of our own comments, by the list's name: the reel, and the timecode of its frame 0."""

    def label(self, line: int, text: str) -> int:
        try:
            return parse_timecode(text, self.ground.rate)
        except ValueError as fault:
            raise LineError(line, str(fault)) from None


def parse_edl(text: str, ground: Ground) -> CutList:
    """Return the cut list in an edit list's text; the first event's record label is place 0. Raises LineError."""
    if ground.rate not in RATES:
        known = ", ".join(map(str, RATES))
        raise LineError(1, f"no timecode counts at {ground.rate} frames a second: expected one of {known}")
    sheet = _Sheet(ground)
    for number, line in enumerate(text.lstrip("\ufeff").splitlines(), 1):
        _read(sheet, number, line.strip())
    if not sheet.edits:
        raise LineError(max(1, len(text.splitlines())), "the list ends without an event: expected lines like "
                        "001  AR01  V  C  00:00:00:00 00:00:01:00 01:00:00:00 01:00:01:00")  # fmt: skip
    start = min(edit.record[0] for edit in sheet.edits)
    placed = []
    for at, edit in enumerate(sheet.edits):
        if not edit.is_empty:
            placed.append((edit.record[0] - start, _event(sheet, edit, sheet.edits[at - 1] if at else None)))
        elif not _leads_to_a_dissolve(sheet, at):
            raise LineError(edit.line, "the event has no length: expected one only ahead of its dissolve")
    return in_order(ground.rate, placed)


def _read(sheet: _Sheet, number: int, line: str) -> None:
    if "\x00" in line:
        raise LineError(number, "the line holds a NUL: this is no text")
    if line.startswith("*"):
        _comment(sheet, number, line[1:].strip())
    elif line.startswith("M2"):
        _motion(sheet, number, line)
    elif line and not _PASSED.match(line):
        _edit(sheet, number, line)
    elif line.upper().startswith("FCM:") and "NON" not in line.upper() and sheet.ground.rate != Fraction(30000, 1001):
        raise LineError(number, f"drop-frame does not exist at {sheet.ground.rate} frames a second: expected NON-DROP")


def _edit(sheet: _Sheet, number: int, line: str) -> None:
    found = _EDIT.fullmatch(line)
    if found is None:
        raise LineError(number, f"found {printable(line[:80])!r}, expected an event: number, reel, V, C or D and "
                        "frames, and four timecodes")  # fmt: skip
    if not {"V", "B"} & set(found["tracks"].upper()):
        return  # sound is laid by itself
    if re.search(r"V[02-9]", found["tracks"].upper()):
        raise LineError(number, f"{printable(found['tracks'])} is a further picture track: expected all pictures on V")
    if len(sheet.edits) >= EVENTS:
        raise LineError(number, f"there are more than {EVENTS:,} events: cut the list in two")
    if found["how"] not in {"C", "D"}:
        raise LineError(
            number, f"{found['how']!r} is neither a cut (C) nor a dissolve (D): wipes and keys are not read"
        )
    if (found["how"] == "D") != (found["over"] is not None and found["over"].strip("0") != ""):
        raise LineError(number, "expected D with the dissolve's length in frames, or C without one")
    labels = [sheet.label(number, label) for label in found.groups()[-4:]]
    source, record = (labels[0], labels[1]), (labels[2], labels[3])
    for what, (first, last) in (("source", source), ("record", record)):
        if last < first:
            raise LineError(number, f"the {what} runs backwards, {found.groups()[-4 if what == 'source' else -2]} to "
                            f"{found.groups()[-3 if what == 'source' else -1]}")  # fmt: skip
    over = int(found["over"] or 0) if found["how"] == "D" else 0
    sheet.edits.append(_Edit(number, found["number"], found["reel"], found["how"], over, source, record))


def _motion(sheet: _Sheet, number: int, line: str) -> None:
    found = _M2.fullmatch(line)
    if found is None:
        raise LineError(
            number, f"found {printable(line[:80])!r}, expected M2, a reel, a speed like 016.0 and a timecode"
        )
    told = (edit for edit in reversed(sheet.edits[-2:]) if edit.reel == found["reel"])
    edit = next(told, None)
    if edit is None:
        raise LineError(number, f"M2 is of reel {printable(found['reel'])!r}, which is not in the event before it")
    edit.speed = speed_in(number, found["speed"])


def _comment(sheet: _Sheet, number: int, text: str) -> None:
    last = sheet.edits[-1] if sheet.edits else None
    if ours := _REEL.fullmatch(text):
        try:
            sheet.ours[ours[1]] = parse_reel(ours[2]), sheet.label(number, ours[3])
        except LineError:
            raise
        except ValueError as fault:
            raise LineError(number, str(fault)) from None
    elif (said := _OURS.fullmatch(text)) and last:
        if said[2].endswith("/0") or re.search(r"/0+$", said[2]):
            raise LineError(number, f"{said[2]} divides by nothing: expected a fraction")
        if said[1] == "SPEED":
            last.speed = Fraction(said[2])
        else:
            last.into = Fraction(said[2])
    elif text.startswith("RELAY "):
        raise LineError(number, f"found {printable(text[:80])!r}, which Relay never wrote there")
    elif (name := _NAME.fullmatch(text)) and last and (text.upper().startswith("TO") or not last.name):
        last.name = printable(name[1].strip())[:400]


def _leads_to_a_dissolve(sheet: _Sheet, at: int) -> bool:
    after = sheet.edits[at + 1] if at + 1 < len(sheet.edits) else None
    return after is not None and after.how == "D" and after.number == sheet.edits[at].number


def _event(sheet: _Sheet, edit: _Edit, before: _Edit | None) -> Event:
    length, ground = edit.record[1] - edit.record[0], sheet.ground
    speed = ground.rate if edit.speed is None else edit.speed
    try:
        reel, start = sheet.ours.get(edit.reel) or (_reel(ground, edit.reel), ground.start())
        event = Event(reel, 0, length, speed, dissolve=edit.over, title=edit.name, line=edit.line)
        if event.is_slate:
            event = replace(event, speed=ground.rate)
        else:
            event = ground.placed(event, edit.source[0] - start, by_frames=edit.reel in sheet.ours)
        event = replace(event, into=edit.into or event.into, fades=_fades(edit, before))
    except LineError:
        raise
    except ValueError as fault:
        raise LineError(edit.line, str(fault)) from None
    if abs(event.first) > FARTHEST:
        raise LineError(edit.line, f"frame {event.first:,} is beyond any reel")
    _check_length(edit, event, ground.rate, speed)
    _check_from(edit, before)
    return event


def _fades(edit: _Edit, before: _Edit | None) -> bool:
    return edit.how == "D" and before is not None and before.is_empty and before.reel.upper() == BLACK


def _reel(ground: Ground, name: str) -> ReelName:
    return SLATE if name.upper() == BLACK else ground.reel(name)


def _check_length(edit: _Edit, event: Event, rate: Fraction, speed: Fraction) -> None:
    """Hold the source's length against the record's at the speed.

    Editors round, by a frame at most; above the programme's rate they may leave out what the last step passes over.
    """
    source, record = edit.source[1] - edit.source[0], event.length
    expected = event.into + record * speed / rate
    rounding = Fraction(0) if speed == rate and not event.into else max(Fraction(1), speed / rate)
    if event.is_slate or speed == 0 or abs(source - expected) <= rounding:
        return
    raise LineError(edit.line, f"the source runs for {source} frames and the programme for {record}: at "
                    f"{in_our_words(speed)} expected {int(expected)}; an M2 line tells another speed")  # fmt: skip


def _check_from(edit: _Edit, before: _Edit | None) -> None:
    if edit.how == "D" and before is None:
        raise LineError(edit.line, "the list begins with a dissolve from nothing: expected a cut, or one from BL")
    if edit.over > edit.record[1] - edit.record[0]:
        raise LineError(edit.line, f"the dissolve takes {edit.over} frames of {edit.record[1] - edit.record[0]}")


def edl(cut_list: CutList, title: str = "programme", start: int | None = None) -> str:
    """Return the list as text; the programme begins at `start` frames of timecode, one hour where none is given.

    Raises ValueError where timecode cannot say it.
    """
    rate = cut_list.rate
    begins = 3600 * round(rate) if start is None else start
    names = names_of({event.reel: None for event in cut_list.events if not event.is_slate})
    lines = [f"TITLE: {printable(title)[:70]}", "FCM: NON-DROP FRAME"]
    ended, told = None, set()
    for number, (place, event) in enumerate(cut_list.laid(), 1):
        lines += _written(number, begins + place, event, ended, names, rate)
        if event.reel in names and event.reel not in told:  # other readers stop at a comment ahead of the first event
            told.add(event.reel)
            lines.append(f"* RELAY REEL {names[event.reel]} IS {event.reel} FRAME 0 AT {_label(0, rate)}")
        ended = event
    return "\n".join(lines) + "\n"


def _written(
    number: int, record: int, event: Event, ended: Event | None, names: dict[ReelName, str], rate: Fraction
) -> Iterator[str]:
    def line(name: str, how: str, source: str, until: str, length: int) -> str:
        labels = format_timecode(record, rate), format_timecode(record + length, rate)
        return f"{number:03d}  {name:<8} V     {how:<8} {source} {until} {' '.join(labels)}"

    if event.dissolve:
        gone = None if event.fades or ended is None or ended.is_slate else ended
        at = _label(gone.frame_at(gone.length, rate), rate) if gone else format_timecode(0, rate)
        yield line(names[gone.reel] if gone else BLACK, "C", at, at, 0)
    how = f"D    {event.dissolve:03d}" if event.dissolve else "C"
    if event.is_slate:
        yield line(BLACK, how, format_timecode(0, rate), format_timecode(event.length, rate), event.length)
    else:
        name, first = names[event.reel], _label(event.first, rate)
        yield line(name, how, first, _label(_until(event, rate), rate), event.length)
        if event.speed != rate:
            tenths, is_exact = decimal_of(event.speed)
            yield f"M2   {name:<8}       {tenths}                {first}"
            if not is_exact:
                yield f"* RELAY SPEED {event.speed}"
        if event.into:
            yield f"* RELAY INTO {event.into}"
    if event.title:
        yield f"* {'TO' if event.dissolve else 'FROM'} CLIP NAME: {printable(event.title)}"


def _until(event: Event, rate: Fraction) -> int:
    return event.frame_at(event.length - 1, rate) + 1


def _label(frame: int, rate: Fraction) -> str:
    """Return the source label of a reel's frame: its start mark stands at one hour."""
    return format_timecode(3600 * round(rate) + frame, rate)


def names_of(reels: dict[ReelName, None]) -> dict[ReelName, str]:
    """Return a name of at most `CUT_AT` characters for each reel, no two alike."""
    names: dict[ReelName, str] = {}
    for reel in reels:
        name, more = squeezed(reel)[:CUT_AT], 0
        while name in names.values() or name == BLACK:
            more += 1
            name = squeezed(reel)[: CUT_AT - len(str(more))] + str(more)
        names[reel] = name
    return names
