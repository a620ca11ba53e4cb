"""What is said of comparison copies, prints shown in step: frozen facts. Values only; reads nothing."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from relay.model import Code, DigestField, FrameRange, Frozen, Line, Note, VersionField

Rate = Annotated[str, Field(pattern=r"^[1-9][0-9]{0,4}(/[1-9][0-9]{0,4})?$")]
"""Steps a second, as a fraction: `18`, `200/11`."""


class ComparisonAsked(Frozen):
    """Somebody wants prints shown in step: along the first of them, or along a cut list; a worker makes it."""

    word: Literal["comparison-asked"] = "comparison-asked"
    prints: Annotated[tuple[VersionField, ...], Field(max_length=4)] = ()
    frames: FrameRange | None = None
    """Of the first print's reel. None: all of it."""
    cut_list: DigestField | None = None
    """Along the programme that this object lists, instead."""
    elements: Annotated[tuple[Code, ...], Field(max_length=4)] = ()
    """Whose prints are shown along a cut list."""
    rate: Rate
    still: Literal[True] | None = None
    """Its first step alone, as a picture."""
    note: Note = ""

    @model_validator(mode="after")
    def _is_along_one_thing(self) -> Self:
        shown = self.prints if self.cut_list is None else self.elements
        if (self.cut_list is None) != bool(self.prints) or (self.cut_list is None) == bool(self.elements):
            raise ValueError("a comparison shows prints along the first of them, or elements along a cut list")
        if len(shown) < 2 or len({each.rpartition("/v")[0] or each for each in shown}) < len(shown):
            raise ValueError(f"a comparison of {', '.join(shown)}: expected two to four reels or elements, each once")
        if self.cut_list and self.frames:
            raise ValueError("frames belong to a reel: along a cut list there are none to name")
        return self


class ComparisonMade(Frozen):
    """A worker made what an entry asks for: a package of one file, no version of any reel."""

    word: Literal["comparison-made"] = "comparison-made"
    asked: Annotated[int, Field(ge=1)]
    manifest: DigestField
    size: Annotated[int, Field(ge=1)]
    """Bytes."""
    steps: Annotated[int, Field(ge=1)]
    shown: Annotated[tuple[VersionField, ...], Field(min_length=1, max_length=2000)]
    """Every version that is seen in it."""


class ComparisonNotMade(Frozen):
    """A worker could not make what an entry asks for, and why."""

    word: Literal["comparison-not-made"] = "comparison-not-made"
    asked: Annotated[int, Field(ge=1)]
    why: Line


ComparisonWord = ComparisonAsked | ComparisonMade | ComparisonNotMade
