"""What all rows are read from: the state at one moment, and the few things that the ledger alone cannot know."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Literal, Self
from zoneinfo import ZoneInfo

from relay.ledger.state import State
from relay.model import FrameRange, Frozen, Production, ReelName, VersionName, reel_of

if TYPE_CHECKING:
    from relay.board.rows.moves import Move

Frames = tuple[FrameRange, ...]


class Span(Frozen):
    """From an instant to another, in UTC."""

    start: datetime
    end: datetime


class Outlook(Frozen):
    """When things are expected to be done, by the forecast."""

    finish: datetime
    low: datetime
    """If all that sets it goes at its best."""
    high: datetime
    reels: dict[ReelName, datetime]


class Viewer(Frozen):
    """Who looks, and what they may do."""

    name: str
    role: Literal["coordinator", "site", "guest", "machine"]
    """A machine reads everything, for monitoring and scripts; a guest reads one holder's elements."""
    site: str | None = None
    """The site in whose name they act."""
    holder: str | None = None
    """The archive whose elements are all that a guest sees."""

    @property
    def may_act(self) -> bool:
        return self.role in {"coordinator", "site"} and self.site is not None


@dataclass(frozen=True)
class View:
    """The production at one moment."""

    state: State
    now: datetime
    frames: Mapping[VersionName, Frames] = field(default_factory=dict)
    """Which of the reel's frames a version holds, as far as its manifest was read."""
    silent: Mapping[str, int] = field(default_factory=dict)
    """Jobs whose machine gave no sign of life, and for how many seconds."""
    stale_since: datetime | None = None
    """When the store was last heard, where it does not answer now."""

    shifts: Mapping[str, Sequence[Span]] = field(default_factory=dict)
    """When sites work, within the hours that are shown; only of those whose shifts the production says."""
    lands: Mapping[tuple[VersionName, str], datetime] = field(default_factory=dict)
    """When what is on its way to a site lands there."""

    outlook: Outlook | None = None
    """The newest forecast, where there is one."""

    moves: "dict[str, Move | None]" = field(default_factory=dict, init=False, compare=False)
    """Who has the move on each job, as far as somebody asked: most pages do. A limited view begins with none."""

    @property
    def film(self) -> Production:
        return self.state.film()

    @cached_property
    def cans(self) -> Mapping[ReelName, int | None]:
        """How many frames each reel has by its can."""
        return {ReelName(f"{each.code}/{reel.name}"): reel.frames for each in self.film.elements for reel in each.reels}

    def title_of(self, site: str) -> str:
        """Return what people call a site: `Tokyo` for `Tokyo: grading`."""
        found = self.film.site(site)
        return found.title.partition(":")[0] if found else site

    def zone_of(self, site: str | None) -> ZoneInfo:
        found = self.film.site(site) if site else None
        return ZoneInfo(found.zone if found else "UTC")

    def limited_to(self, holder: str) -> Self:
        """Return what the archive `holder` may see: its own elements, what was made of them alone, and nothing else."""
        elements = tuple(element for element in self.film.elements if element.holder == holder)
        codes = {element.code for element in elements}
        reels = {ReelName(f"{element.code}/{reel.name}") for element in elements for reel in element.reels}
        state = replace(
            self.state,
            production=self.film.model_copy(update={"elements": elements}),
            versions={name: each for name, each in self.state.versions.items() if reel_of(name) in reels},
            newest={reel: number for reel, number in self.state.newest.items() if reel in reels},
            mendings=tuple(each for each in self.state.mendings if reel_of(each.version) in reels),
            kept=(),
            asked_comparisons=(),
            material=tuple(each for each in self.state.material if each.about.partition("/")[0] in codes),
            jobs={name: job for name, job in self.state.jobs.items() if job.reel in reels},
        )
        return replace(
            self, state=state, outlook=None, silent={job: age for job, age in self.silent.items() if job in state.jobs}
        )


def seen_by(view: View, viewer: Viewer) -> View:
    """Return as much of `view` as `viewer` may see."""
    return view.limited_to(viewer.holder or "") if viewer.role == "guest" else view
