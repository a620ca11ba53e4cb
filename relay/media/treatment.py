"""What was done to which frames, as the site that did it says: `treatment.toml` or `treatment.json` in its package.

relay_treatment = 1

[[step]]
what = "dust and scratches"
with = "the cleaning desk, second pass"
frames = "120-180,200"            # in the reel's own numbers; left out: every frame
by = "Ines"
settings = { strength = 0.4, window = 5 }
note = "the hair at 140 stays"
"""

import json
import math
import tomllib
from collections.abc import Iterable
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, ConfigDict, Field, StringConstraints, model_validator

from relay.errors import RefusedError
from relay.model import FrameRange, Frozen, Line, Note
from relay.settings import first_fault
from relay.wording import all_in_words, parse_frames

NAMES = ("treatment.toml", "treatment.json")
"""What the record is called, right in the package."""

LIMIT = 1024 * 1024
"""Bytes."""


def _checked(text: str) -> str:
    try:
        ranges = parse_frames(text)
    except RefusedError as error:
        raise ValueError(str(error)) from error
    if len(ranges) > 10_000:
        raise ValueError(f"{len(ranges)} ranges of frames: expected at most 10,000; write runs as 10-20")
    return text


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ValueError(f"{value} is no setting: expected a finite number")
    return value


Setting = (
    bool
    | Annotated[int, Field(ge=-(2**53), le=2**53)]
    | Annotated[float, AfterValidator(_finite)]
    | Annotated[str, StringConstraints(max_length=400)]
)


class Step(Frozen):
    """One thing that was done."""

    model_config = ConfigDict(populate_by_name=True)

    what: Line
    tool: Annotated[Line, Field(alias="with")]
    frames: Annotated[str, StringConstraints(max_length=100_000), AfterValidator(_checked)] | None = None
    by: Line | None = None
    settings: Annotated[
        dict[Annotated[str, StringConstraints(min_length=1, max_length=100)], Setting], Field(max_length=200)
    ] = Field(default_factory=dict)
    note: Note = ""

    def ranges(self) -> tuple[FrameRange, ...]:
        """Return the reel's frames that it touched; empty: every one."""
        return parse_frames(self.frames) if self.frames else ()

    def touches(self, frames: Iterable[FrameRange]) -> bool:
        """Answer whether it touched any of `frames`."""
        mine = self.ranges()
        return not mine or any(a.first <= b.last and b.first <= a.last for a in mine for b in frames)

    def in_words(self) -> str:
        """Return it in a line."""
        return self._told(f" on {all_in_words(self.ranges())}" if self.frames else " on every frame")

    def done_in_words(self) -> str:
        """Return it in a line for somebody who knows which frames are spoken of."""
        return self._told("")

    def _told(self, where: str) -> str:
        set_to = ", ".join(f"{name} {value}" for name, value in self.settings.items())
        said = f"{self.what} with {self.tool}{where}" + (f" ({set_to})" if set_to else "")
        return said + (f", by {self.by}" if self.by else "") + (f": {self.note}" if self.note else "")


class Treatment(Frozen):
    """The record of one version: its steps in the order in which they were done."""

    relay_treatment: Literal[1]
    step: Annotated[tuple[Step, ...], Field(min_length=1, max_length=1000)]

    @model_validator(mode="after")
    def _is_bounded(self) -> "Treatment":
        if sum(len(each.frames or "") for each in self.step) > LIMIT:
            raise ValueError("its steps name too many frames")
        return self

    def touched(self) -> tuple[FrameRange, ...] | None:
        """Return the frames that some step touched; None: every one."""
        if any(step.frames is None for step in self.step):
            return None
        return tuple(each for step in self.step for each in step.ranges())


def parse_treatment(name: str, body: bytes) -> Treatment:
    """Return the record in `body`, whose file is called `name`. Raises ValueError that says what is wrong where."""
    if len(body) > LIMIT:
        raise ValueError(f"{name} has {len(body)} bytes: expected at most {LIMIT}")
    table: Any = {}
    try:
        text = body.decode("utf-8")
        table = tomllib.loads(text) if name.endswith(".toml") else json.loads(text)
        return Treatment.model_validate(table)
    except (ValueError, RecursionError) as error:  # UTF-8, TOML, JSON, nesting, pydantic
        raise ValueError(f"{name} is no treatment record: {first_fault(error, table)}") from error
