"""A shot of a reel, named by its number."""

from typing import Annotated

import typer

from relay.errors import RefusedError
from relay.model import FrameRange
from relay.programme.lacking import Print

ShotNumber = Annotated[
    int | None,
    typer.Option("--shot", metavar="N", min=1, help="Only this shot of the reel, as `relay gaps --shots` counts."),
]


def shot_of(one: Print, shot: int, frames: FrameRange | None = None) -> FrameRange:
    """Return the frames of a shot, counted from 1. Raises RefusedError: no such shot, or `frames` are named as well."""
    if frames is not None:
        raise RefusedError(f"--shot {shot} and frames {frames}: name one of them")
    if one.shots is None:
        raise RefusedError(f"nobody looked at {one.version} for cuts: name frames in the place of --shot {shot}")
    if shot > len(one.spans()):
        raise RefusedError(f"{one.version} has {len(one.spans())} shots, as far as its cuts were seen: none is {shot}")
    return one.spans()[shot - 1]
