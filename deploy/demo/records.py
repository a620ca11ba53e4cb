"""What the demo's sites say they did to which frames: a record in the folder that goes over."""

from collections.abc import Iterable
from pathlib import Path

from relay.media.treatment import NAMES
from relay.model import ranges_of

GRADING_DESK = "the grading desk in Kolkata"


def write_record(folder: Path, what: str, tool: str, frames: Iterable[int] | None = None) -> None:
    """Say that `what` was done with `tool` to `frames` of the reel; None: to all of them."""
    touched = "" if frames is None else f'frames = "{",".join(map(str, ranges_of(set(frames))))}"\n'
    step = f'[[step]]\nwhat = "{what}"\nwith = "{tool}"\n{touched}'
    (folder / NAMES[0]).write_text(f"relay_treatment = 1\n\n{step}", encoding="utf-8")
