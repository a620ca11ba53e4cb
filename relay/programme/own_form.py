"""A cut list in a file of its own, for programmes that are put together by hand: TOML in, a cut list out. Pure.

rate = "24"            # frames of the programme a second

[[event]]
reel = "A/R02"
first = 120            # a frame of the reel
length = 48            # frames of the programme
speed = "18"           # frames of the reel a second; left out: the programme's rate. "0" freezes the frame
"""

import json
import tomllib
from fractions import Fraction
from typing import Annotated

from pydantic import Field, field_validator

from relay.film.rates import format_rate, parse_rate
from relay.model import Frozen, ReelField
from relay.programme.cutlist import CutList, Event

EVENTS = 100_000


class _Line(Frozen):
    reel: ReelField
    first: Annotated[int, Field(ge=-10_000_000, le=10_000_000)]
    length: Annotated[int, Field(ge=1, le=10_000_000)]
    speed: str | None = None

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
    """Return the cut list in a TOML file's text. Raises ValueError."""
    file = _File.model_validate(tomllib.loads(text))
    rate = parse_rate(file.rate)
    return CutList(
        rate, tuple(Event(line.reel, line.first, line.length, _speed(line.speed, rate)) for line in file.event)
    )


def _speed(text: str | None, rate: Fraction) -> Fraction:
    return rate if text is None else Fraction(0) if text == "0" else parse_rate(text)


def own_form(cut_list: CutList) -> str:
    """Return the text that `parse_own_form` reads back as the same list."""
    lines = [f"rate = {json.dumps(format_rate(cut_list.rate))}\n"]
    for event in cut_list.events:
        speed = "0" if event.speed == 0 else format_rate(event.speed)
        lines.append(
            f'\n[[event]]\nreel = "{event.reel}"\nfirst = {event.first}\nlength = {event.length}\n'
            f"speed = {json.dumps(speed)}\n"
        )
    return "".join(lines)
