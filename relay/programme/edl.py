"""Edit lists in the form of CMX 3600: text in, a cut list out, and back. Pure.

Read here line by line, since every fault is told with its line and speeds are exact; docs/decisions/cut-lists.md.
What the form cannot carry stands in comments of ours, which other readers pass over:

* RELAY REEL AR01 IS A/R01 FRAME 0 AT 01:00:00:00     which reel, and where its start mark stands
* RELAY SPEED 200/11                                  the speed, where the M2 line before it is rounded
* RELAY INTO 2/3                                      how far into its first frame the event begins
"""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from math import ceil

from relay.film.timecode import format_timecode, parse_timecode
from relay.model import ReelName
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.edl_lines import Edit, Sheet, read_lines
from relay.programme.reading import (
    CUT_AT,
    FARTHEST,
    Ground,
    LineError,
    decimal_of,
    in_order,
    in_our_words,
    squeezed,
)
from relay.wording import printable

BLACK = "BL"
AUXILIARY = "AX"
"""What lists call a source that has no timecode: a title or a still that is made elsewhere; common practice."""
_HOUR = "01:00:00"


def parse_edl(text: str, ground: Ground) -> CutList:
    """Return the cut list in an edit list's text; the first event's record label is place 0. Raises LineError."""
    sheet = read_lines(text, ground)
    start = min(edit.record[0] for edit in sheet.edits)
    placed = []
    for at, edit in enumerate(sheet.edits):
        if not edit.is_empty:
            placed.append((edit.record[0] - start, _event(sheet, edit, sheet.edits[at - 1] if at else None)))
        elif not _leads_to_a_dissolve(sheet, at):
            raise LineError(edit.line, "the event has no length: expected one only ahead of its dissolve")
        elif at:
            _check_goes_on(sheet, edit, sheet.edits[at - 1])
    return in_order(ground.rate, placed)


def _leads_to_a_dissolve(sheet: Sheet, at: int) -> bool:
    after = sheet.edits[at + 1] if at + 1 < len(sheet.edits) else None
    return after is not None and after.over > 0 and after.number == sheet.edits[at].number


def _check_goes_on(sheet: Sheet, edit: Edit, before: Edit) -> None:
    """Hold what goes under a dissolve against the event that ends there: it runs on, and nothing else does."""
    if edit.reel.upper() == BLACK or before.is_empty or before.record[1] != edit.record[0]:
        return
    speed = sheet.ground.rate if before.speed is None else before.speed
    rounding = 0 if speed == sheet.ground.rate else max(1, ceil(speed / sheet.ground.rate))
    slips = abs(edit.source[0] - before.source[1]) > rounding and speed > 0 and not _is_slate(sheet.ground, before.reel)
    if edit.reel != before.reel or slips:
        at, ended = (_label_of(label, sheet.ground.rate) for label in (edit.source[0], before.source[1]))
        raise LineError(edit.line, f"the dissolve goes out of {printable(edit.reel)} at {at}, and the event before "
                        f"ends with {printable(before.reel)} at {ended}: expected the shot to run on")  # fmt: skip


def _label_of(frame: int, rate: Fraction) -> str:
    return format_timecode(frame % (24 * 3600 * round(rate)), rate)


def _event(sheet: Sheet, edit: Edit, before: Edit | None) -> Event:
    length, ground = edit.record[1] - edit.record[0], sheet.ground
    speed = ground.rate if edit.speed is None else edit.speed
    try:
        reel, start = sheet.ours.get(edit.reel) or (_reel(ground, edit.reel), _start(ground, edit))
        event = Event(reel, 0, length, speed, dissolve=edit.over, wipe=edit.wipe, title=edit.name, line=edit.line)
        if event.is_slate:
            title = edit.name or ("" if edit.reel.upper() == BLACK else edit.reel)
            event = replace(event, speed=ground.rate, title=title)
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


def _start(ground: Ground, edit: Edit) -> int:
    """Return the frame of timecode that frame 0 stands at; drop-frame labels have counted fewer by then."""
    return parse_timecode(f"{_HOUR};00", ground.rate) if edit.is_drop and ground.zero is None else ground.start()


def _fades(edit: Edit, before: Edit | None) -> bool:
    return edit.over > 0 and before is not None and before.is_empty and before.reel.upper() == BLACK


def _is_slate(ground: Ground, name: str) -> bool:
    if name.upper() == AUXILIARY:
        return AUXILIARY not in map(squeezed, ground.reels)
    return name.upper() == BLACK


def _reel(ground: Ground, name: str) -> ReelName:
    return SLATE if _is_slate(ground, name) else ground.reel(name)


def _check_length(edit: Edit, event: Event, rate: Fraction, speed: Fraction) -> None:
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


def _check_from(edit: Edit, before: Edit | None) -> None:
    if edit.over and before is None:
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
    how = "C" if not event.dissolve else f"{_mix(event)} {event.dissolve:03d}"
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


def _mix(event: Event) -> str:
    return "D   " if event.wipe is None else f"W{event.wipe:03d}"


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
