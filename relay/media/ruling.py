"""The rules of an inspection: what blocks, what warns, and where a measure begins to count. Read from a TOML file."""

import tomllib
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Self

from pydantic import Field, ValidationError, model_validator

from relay.errors import RefusedError
from relay.media.findings import Grade, Kind
from relay.model import Frozen
from relay.settings import first_fault

OWN_RULES = "inspection.toml"
"""A rule file in a site's home, used in place of the one that comes with the tool."""

Share = Annotated[float, Field(ge=0, le=1)]


class Measures(Frozen):
    """Where a measure begins to be a finding; rules.toml says what each means."""

    black_below: Share
    linear_black_below: Share
    clear_above: Share
    flat_within: Share
    frozen_frames: Annotated[int, Field(ge=2)]
    edge_gap_frames: Annotated[int, Field(ge=1)]
    length_frames: Annotated[int, Field(ge=0)]
    length_percent: Annotated[float, Field(ge=0, le=100)]
    sound_frames: Annotated[float, Field(ge=0)]
    clipped_samples: Annotated[int, Field(ge=2)]
    silent_below_db: Annotated[float, Field(le=0)]
    silent_seconds: Annotated[float, Field(gt=0)]


class Rules(Frozen):
    """A whole rule file."""

    grade: dict[Kind, Grade]
    measure: Measures

    @model_validator(mode="after")
    def _is_complete(self) -> Self:
        if lacking := set(Kind) - set(self.grade):
            raise ValueError(f"nothing says how bad these are: {', '.join(sorted(lacking))}")
        return self


@cache
def usual_rules() -> Rules:
    """Return the rules that come with the tool."""
    return Rules.model_validate(tomllib.loads(files("relay.media").joinpath("rules.toml").read_text("utf-8")))


def rules_of(home: Path) -> Rules:
    """Return the rules in a site's home, or those that come with the tool. Raises RefusedError."""
    own = home / OWN_RULES
    return read_rules(own) if own.exists() else usual_rules()


def read_rules(path: Path) -> Rules:
    """Return the rules in a file of one's own. Raises RefusedError."""
    try:
        return Rules.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, ValidationError) as error:
        raise RefusedError(
            f"{path} is no rule file: {first_fault(error)}. Begin with a copy of relay/media/rules.toml"
        ) from error
