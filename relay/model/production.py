"""The production as its file says: sites, elements and their reels, loans, the route, the premiere."""

from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from fractions import Fraction
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import ConfigDict, Field, StringConstraints, model_validator

from relay.model.hours import Closure, Holidays, Shift, Span
from relay.model.names import Code, Frozen, Line, Note, ReelField, ReelName, Slug, ZoneName, code_of


class ElementKind(StrEnum):
    """What a physical source is, in FIAF's terms."""

    ORIGINAL_NEGATIVE = "original negative"
    DUPLICATE_NEGATIVE = "duplicate negative"
    FINE_GRAIN_MASTER = "fine grain master"
    WORK_PRINT = "work print"
    PROJECTION_PRINT = "projection print"
    COMPOSITE_PRINT = "composite print"
    TRACK_NEGATIVE = "track negative"
    RESTORED_PROGRAMME = "restored programme"


class Base(StrEnum):
    """What the film is made of. Nitrate burns and decays: handle it by local codes and licensed practice."""

    NITRATE = "nitrate"
    ACETATE = "acetate"
    DIACETATE = "diacetate"
    TRIACETATE = "triacetate"
    POLYESTER = "polyester"
    MIXED = "mixed"
    NONE = "none"  # the restored programme, while it exists as files only


class Premiere(Frozen):
    """The date that does not move: a local time at a venue."""

    at: datetime
    zone: ZoneName
    venue: Line

    @model_validator(mode="after")
    def _is_local(self) -> Self:
        if self.at.tzinfo is not None:
            raise ValueError("the premiere's time is the venue's local time: leave the offset out, `zone` gives it")
        return self

    def instant(self) -> datetime:
        """Return the premiere's instant, in UTC."""
        return self.days_before(0)

    def days_before(self, days: int) -> datetime:
        """Return the instant that many days before, when the venue's clocks show the same time; in UTC."""
        return (self.at - timedelta(days=days)).replace(tzinfo=ZoneInfo(self.zone)).astimezone(UTC)


Rate = Annotated[int, Field(ge=1, le=100_000_000)]
"""Frames that one pair of hands gets through in an hour."""


Price = Annotated[str, StringConstraints(pattern=r"^[0-9]{1,6}(\.[0-9]{1,4})?$")]
"""Of one frame, as a decimal: money is never a float."""


class Site(Frozen):
    """A place that works."""

    name: Slug
    title: Line
    zone: ZoneName
    stages: tuple[Slug, ...] = ()
    mends: bool = False
    """May replace an object in the bucket whose bytes no longer fit its name, from a good copy."""
    shifts: Annotated[tuple[Shift, ...], Field(alias="shift")] = ()
    """When people work. Left out: nobody said, and forecasts say what they take for granted instead."""
    holidays: Holidays | None = None
    """Whose public holidays are kept: no shift begins on them."""
    closed: tuple[Closure, ...] = ()
    overtime: tuple[Span, ...] = ()
    """Worked whatever the shifts, the holidays and the closures say."""
    hands: dict[Slug, Annotated[int, Field(ge=1, le=1000)]] = Field(default_factory=dict)
    """How many jobs of a stage are worked on at once; one, where nothing is said."""
    people: Annotated[int, Field(ge=1, le=1000)] | None = None
    """How many jobs are worked on at once, all stages together; as many as there are hands, where nothing is said."""
    rates: dict[Slug, Rate] = Field(default_factory=dict)
    """Frames an hour at a stage, where this site differs from what the stage says."""
    prices: dict[Slug, Price] | None = None
    """What this site asks for a frame at a stage, in the production's currency."""
    line: Annotated[int, Field(ge=1, le=1_000_000)] | None = None
    """What the line carries each way, in megabits a second; taken until receipts tell what it carried."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Loan(Frozen):
    """On what terms an archive lent an element."""

    due_back: date
    credit: Line
    permitted_use: Line
    lent_to: Slug | None = None
    """The site that has the print, or is sent it; only it can do the first stages on it."""
    arrives: date | None = None
    """The day on which the print is there, by that site's own calendar."""
    shipping_days: Annotated[int, Field(ge=0, le=365)] = 0
    """How many days before `due_back` it must leave again."""


class Reel(Frozen):
    """One reel of an element; `frames` is what the can or a count says, before any scan."""

    name: Code
    frames: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    feet: Annotated[str, StringConstraints(pattern=r"^[0-9]{1,6}(\.[0-9]{1,3})?$")] | None = None
    """Measured on the bench, on the film as it is today."""
    shrinkage: Annotated[str, StringConstraints(pattern=r"^[0-9](\.[0-9]{1,3})?$")] = "0"
    """Of the film's length, in per cent."""
    note: Note = ""


class Element(Frozen):
    """One physical source held by an archive."""

    code: Code
    title: Line
    kind: ElementKind
    gauge: Line
    base: Base
    holder: Line
    condition: Note = ""
    generation: Note = ""
    speed: Annotated[str, StringConstraints(pattern=r"^[0-9]+(/[0-9]+)?$")] = "18"
    """Frames a second, as a whole number or an exact fraction."""
    loan: Loan | None = None
    reels: Annotated[tuple[Reel, ...], Field(min_length=1, alias="reel")]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    def rate(self) -> Fraction:
        """Return the element's speed in frames a second, exactly."""
        return Fraction(self.speed)


class Picture(Frozen):
    """What frames are asked to be; left out: anything goes, as long as it is the same throughout."""

    kind: Literal["dpx", "exr", "tif", "png"] | None = None
    width: Annotated[int, Field(ge=1)] | None = None
    height: Annotated[int, Field(ge=1)] | None = None
    bits: Annotated[int, Field(ge=1, le=64)] | None = None
    channels: Annotated[int, Field(ge=1, le=16)] | None = None
    transfer: Line | None = None
    """As SMPTE ST 268 calls it: printing density, linear, logarithmic ..."""
    packing: Line | None = None
    """As an inspection shows it: `filled, method A, big-endian`; of other kinds the compression, such as `zip`."""
    orientation: Line | None = None
    """As ST 268 calls it: `left to right, top to bottom`; of TIFF and OpenEXR the number of the tag, `1`."""


class Stage(Frozen):
    """A step of the route, and what may be done at it."""

    name: Slug
    after: tuple[Slug, ...] = ()
    of: tuple[ReelField, ...] = ()
    """The reels it works on. Left out: those of the stages before it; every reel of every element at the first."""
    next_opens_on: Literal["arrival", "acceptance"] = "arrival"
    """Whether the stages after this one open when its work has arrived verified, or only when it was accepted."""
    opens_on: Literal["arrival", "acceptance"] | None = None
    """The same, said by the stage that waits: it goes before what the stages ahead of it say."""
    accepted_by: tuple[Slug, ...] = ()
    """The sites that may accept and return work of this stage, beside the coordinator."""
    received_by: Slug | None = None
    """The site that receives and verifies the outcome: the venue, say. Left out: one that does a stage after this."""
    due_days_before_premiere: Annotated[int, Field(ge=0, le=3650)] | None = None
    """How many days before the premiere all work of this stage must have been accepted."""
    may_move: bool = False
    """Whether work may be handed on to another site half-done. A grade stays with its grader."""
    rate: Rate | None = None
    """Frames an hour, where neither a site nor the ledger's own history knows better."""
    overnight: Literal["pauses", "runs on", "one shift"] = "pauses"
    """What becomes of its work when a site closes: it lies still; it runs on, as a machine does; or it must begin and
    end within one shift, as a scan that nobody leaves alone."""
    hand_over: Annotated[int, Field(ge=0, le=7 * 24 * 60)] = 30
    """Minutes of working time that whoever goes on with another site's half-done work needs to find their way in."""
    claim_within_hours: Annotated[int, Field(ge=1)] = 24
    """How long an open job may wait for somebody before people are told."""
    claim_days: Annotated[int, Field(ge=1, le=365)] = 3
    """For how long a person's claim is meant, unless they say otherwise."""
    command: tuple[str, ...] = ()
    """Done by a worker alone: a program and its arguments, no shell. `{input}` and `{output}` are folders."""
    time_limit: Annotated[int, Field(ge=1)] = 3600
    """Seconds that the command may take."""
    lease: Annotated[int, Field(ge=5)] = 300
    """Seconds without a sign of life after which a machine's claim has lapsed."""
    tries: Annotated[int, Field(ge=1, le=100)] = 3
    """How many times a command may fail before the job stops and a person is asked."""
    picture: Picture | None = None
    """What its frames shall be."""
    conformed: bool = False
    """Whether what is handed in is held against the cut list among its inputs, and nobody accepts it before that."""
    inspected: bool = False
    """Whether workers look at the pictures and sound of what is handed in, and nobody accepts it before that."""

    @property
    def is_automatic(self) -> bool:
        return bool(self.command)

    def waits_for_acceptance(self, before: Self) -> bool:
        """Answer whether it opens only when the work of `before`, a stage ahead of it, was accepted."""
        return (self.opens_on or before.next_opens_on) == "acceptance"


class Production(Frozen):
    """One film being restored, as its file says: sites, elements, route and premiere."""

    name: Slug
    title: Line
    premiere: Premiere
    coordinator: Slug
    sites: Annotated[tuple[Site, ...], Field(min_length=1, alias="site")]
    elements: Annotated[tuple[Element, ...], Field(min_length=1, alias="element")]
    route: Annotated[tuple[Stage, ...], Field(alias="stage")] = ()
    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")] | None = None
    """Of sites' prices, as ISO 4217 calls it."""
    reasons: dict[Slug, Line] | None = None
    """Sentences for reasons that are repeated here; `=name` stands for one. They go before the usual ones."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        _check_once("site", [site.name for site in self.sites])
        _check_once("element", [element.code.casefold() for element in self.elements])
        _check_once("stage", [stage.name for stage in self.route])
        for element in self.elements:
            _check_once(f"reel of element {element.code}", [reel.name.casefold() for reel in element.reels])
        if self.coordinator not in {site.name for site in self.sites}:
            raise ValueError(f"the coordinator {self.coordinator!r} is none of the sites: add a [[site]] of that name")
        _check_route(self.route)
        self._check_stages()
        self._check_loans()
        return self

    def _check_loans(self) -> None:
        for element in self.elements:
            to = element.loan.lent_to if element.loan else None
            if to is not None and self.site(to) is None:
                raise ValueError(f"element {element.code!r} is lent to {to!r}, which is none of the sites")

    def _check_stages(self) -> None:
        reels, sites = set(self.reel_names()), {site.name for site in self.sites}
        for stage in self.route:
            for reel in stage.of:
                if reel not in reels:
                    raise ValueError(f"stage {stage.name!r} works on reel {reel}, which no element has")
            for site in stage.accepted_by:
                if site not in sites:
                    raise ValueError(f"stage {stage.name!r} is accepted by {site!r}, which is none of the sites")
            self._check_receiver(stage)
        known = {stage.name for stage in self.route}
        for worker in self.sites:
            for name in worker.stages:
                if known and name not in known:
                    raise ValueError(f"site {worker.name!r} does {name!r}, which is no stage of the route")
            for name in (*worker.hands, *worker.rates, *(worker.prices or {})):
                if name not in worker.stages:
                    raise ValueError(
                        f"site {worker.name!r} has hands, a rate or a price for {name!r}, which it does not do"
                    )

    def _check_receiver(self, stage: Stage) -> None:
        if stage.received_by is None:
            return
        receiver = self.site(stage.received_by)
        if receiver is None:
            raise ValueError(f"stage {stage.name!r} is received by {stage.received_by!r}, which is none of the sites")
        if stage.name in receiver.stages:
            raise ValueError(
                f"stage {stage.name!r} is received by {receiver.name!r}, which does it: another site must receive it"
            )

    def due(self, stage: Stage) -> datetime | None:
        """Return the instant, in UTC, by which all work of `stage` must have been accepted; None: whenever."""
        days = stage.due_days_before_premiere
        return None if days is None else self.premiere.days_before(days)

    @property
    def keeps_hours(self) -> bool:
        """Whether somebody said when people work, so that a plan is more than guesses."""
        return bool(self.route) and any(site.shifts for site in self.sites)

    def reel_names(self) -> list[ReelName]:
        """Return every reel of every element, in the file's order."""
        return [ReelName(f"{element.code}/{reel.name}") for element in self.elements for reel in element.reels]

    def site(self, name: str) -> Site | None:
        """Return the site called `name`, or None."""
        return next((site for site in self.sites if site.name == name), None)

    def stage(self, name: str) -> Stage | None:
        """Return the stage called `name`, or None."""
        return next((stage for stage in self.route if stage.name == name), None)

    def element_of(self, reel: ReelName) -> Element | None:
        """Return the element that `reel` belongs to, or None."""
        return next((element for element in self.elements if element.code == code_of(reel)), None)


def _check_once(what: str, names: list[str]) -> None:
    for name in sorted(set(names)):
        if names.count(name) > 1:
            raise ValueError(f"{what} {name!r} stands {names.count(name)} times: each name may stand once")


def _check_route(route: tuple[Stage, ...]) -> None:
    known = {stage.name for stage in route}
    for stage in route:
        for before in stage.after:
            if before not in known:
                raise ValueError(f"stage {stage.name!r} comes after {before!r}, which is no stage of the route")
    done: set[str] = set()
    while remaining := [stage for stage in route if stage.name not in done]:
        ready = {stage.name for stage in remaining if set(stage.after) <= done}
        if not ready:
            raise ValueError(
                "the route is a loop: " + ", ".join(stage.name for stage in remaining) + " wait for each other"
            )
        done |= ready
