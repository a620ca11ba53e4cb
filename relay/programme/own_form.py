"""A cut list in a file of its own, for programmes that are put together by hand: TOML in, a cut list out. Pure.

rate = "24"            # frames of the programme a second

[[event]]
reel = "A/R02"         # left out: a slate, which shows no film
first = 120            # a frame of the reel
length = 48            # frames of the programme
speed = "18"           # frames of the reel a second; left out: the programme's rate. "0" freezes the frame
into = "1/3"           # how far into `first` it begins; left out: at its beginning
dissolve = 12          # frames that mix in from the event before; fades = true: from black
wipe = 1               # they come in by this wipe, as lists number them; left out: they mix evenly
title = "the ferry"    # what a slate says, or what the shot is called
at = 480               # its place; left out, as it should be: where the event before ends
"""

import json
import re
import tomllib
from fractions import Fraction
from typing import Annotated

from pydantic import Field, ValidationError, field_validator

from relay.film.rates import format_rate, parse_rate
from relay.model import Frozen, ReelField
from relay.programme.cutlist import SLATE, CutList, Event
from relay.programme.reading import EVENTS, FARTHEST, LineError, in_order
from relay.settings import first_fault

_HEAD = re.compile(r"^\s*\[\[event\]\]")
_WHERE = re.compile(r" \(at line ([0-9]+), column ([0-9]+)\)$")


class _Line(Frozen):
    reel: ReelField = SLATE
    first: Annotated[int, Field(ge=-FARTHEST, le=FARTHEST)] = 0
    length: Annotated[int, Field(ge=1, le=FARTHEST)]
    speed: str | None = None
    into: Annotated[str, Field(pattern=r"^[0-9]{1,6}(/0*[1-9][0-9]{0,5})?$")] = "0"
    dissolve: Annotated[int, Field(ge=0, le=FARTHEST)] = 0
    fades: bool = False
    wipe: Annotated[int, Field(ge=0, le=999)] | None = None
    at: Annotated[int, Field(ge=0, le=2 * FARTHEST)] | None = None
    title: Annotated[str, Field(max_length=400)] = ""

    @field_validator("speed")
    @classmethod
    def _is_a_speed(cls, text: str | None) -> str | None:
        if text not in {None, "0"}:
            parse_rate(text or "")
        return text


class _File(Frozen):
    rate: str
    event: Annotated[tuple[_Line, ...], Field(min_length=1, max_length=EVENTS)]

    @field_validator("rate")
    @classmethod
    def _is_a_rate(cls, text: str) -> str:
        parse_rate(text)
        return text


def parse_own_form(text: str) -> CutList:
    """Return the cut list in a TOML file's text. Raises ValueError that begins with the line."""
    table: dict[str, object] = {}
    try:
        table = tomllib.loads(text)
        file = _File.model_validate(table)
    except tomllib.TOMLDecodeError as fault:
        found = _WHERE.search(str(fault))
        at, said = (int(found[1]), _WHERE.sub("", str(fault))) if found else (len(text.splitlines()), str(fault))
        raise LineError(max(1, at), said) from None
    except ValidationError as fault:
        raise LineError(_line_of(text, fault), first_fault(fault, table)) from None
    except (RecursionError, OverflowError) as fault:
        raise LineError(1, f"this is no list: {fault}") from None
    rate, heads = parse_rate(file.rate), _heads(text)
    placed, end = [], 0
    for number, line in enumerate(file.event):
        event = _event(line, rate, heads[number] if number < len(heads) else 1)
        begins = end if line.at is None else line.at
        placed.append((begins, event))
        end = begins + event.length
    return in_order(rate, placed)


def _event(line: _Line, rate: Fraction, at: int) -> Event:
    speed = rate if line.speed is None else Fraction(0) if line.speed == "0" else parse_rate(line.speed)
    try:
        return Event(
            line.reel,
            line.first,
            line.length,
            speed,
            Fraction(line.into),
            line.dissolve,
            line.fades,
            line.wipe,
            title=line.title,
            line=at,
        )
    except ValueError as fault:
        raise LineError(at, str(fault)) from None


def _heads(text: str) -> list[int]:
    return [number for number, line in enumerate(text.splitlines(), 1) if _HEAD.match(line)]


def _line_of(text: str, fault: ValidationError) -> int:
    """Return the line of the first fault: its field's, else its event's, else the first."""
    where = fault.errors(include_url=False)[0]["loc"]
    lines, heads = text.splitlines(), _heads(text)
    begins, ends = 1, len(lines)
    if len(where) > 1 and isinstance(where[1], int) and where[1] < len(heads):
        begins = heads[where[1]]
        ends = heads[where[1] + 1] - 1 if where[1] + 1 < len(heads) else ends
    name = re.compile(rf"\s*{re.escape(str(where[-1]))}\s*=") if where else None
    within = range(begins, ends + 1)
    return next((number for number in within if name and name.match(lines[number - 1])), begins)


def own_form(cut_list: CutList) -> str:
    """Return the text that `parse_own_form` reads back as the same list."""
    lines = [f"rate = {json.dumps(format_rate(cut_list.rate))}\n"]
    for event in cut_list.events:
        lines.append("\n[[event]]\n")
        if not event.is_slate:
            lines.append(f'reel = "{event.reel}"\n')
        lines.append(f"first = {event.first}\nlength = {event.length}\n")
        lines.append(f"speed = {json.dumps('0' if event.speed == 0 else format_rate(event.speed))}\n")
        lines += [f'into = "{event.into}"\n'] * bool(event.into)
        lines += [f"dissolve = {event.dissolve}\n"] * bool(event.dissolve)
        lines += ["fades = true\n"] * event.fades
        lines += [f"wipe = {event.wipe}\n"] * (event.wipe is not None)
        lines += [f"at = {event.at}\n"] * (event.at is not None)
        lines += [f"title = {json.dumps(event.title, ensure_ascii=False)}\n"] * bool(event.title)
    return "".join(lines)
