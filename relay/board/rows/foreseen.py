"""The forecast as rows: bars of work, what travels, each reel's finish as a range, what sets it. Pure."""

from datetime import datetime

from relay.board.rows.view import Span
from relay.forecast.ground import place_of
from relay.forecast.guesses import guesses_of
from relay.forecast.outlook import Forecast, ReelOutlook, ShutDoor, reel_of_task
from relay.forecast.prints import prints_of
from relay.forecast.sharing import shared_lines
from relay.forecast.words import at_the_doors, by_whom, headline, of_a_line, of_a_print, place_in_words, told
from relay.ledger.job_state import Standing
from relay.model import Frozen, ReelName
from relay.shifts.chain import cause_in_words
from relay.shifts.plan import Arrival, Piece
from relay.shifts.spoken import how_long


class Bar(Frozen):
    """One piece of work at one site."""

    job: str
    title: str
    reel: ReelName
    stage: str
    site: str
    place: str
    """As people call it: `tokyo`, or `tokyo's worker`."""
    start: datetime
    finish: datetime
    spells: tuple[Span, ...]
    """When it is really worked on; between two of them the site is closed."""
    is_under_way: bool
    sets_finish: bool
    """Whether the plan's finish waits for it."""
    goes_on: bool
    """Whether it is handed on half-done at its end."""
    waits_for: str
    """Why it begins when it does."""


class Flight(Frozen):
    """Something that travels from one site to another."""

    of: str
    to_do: str
    """The work that takes it."""
    reel: ReelName
    site: str
    source: str
    leaves: datetime
    lands: datetime
    half_done: bool


class House(Frozen):
    """A site and when it is open."""

    site: str
    zone: str
    hours: tuple[Span, ...]


class ReelFinish(Frozen):
    """When one reel is finished, as far as the route goes."""

    reel: ReelName
    finish: datetime
    low: datetime
    high: datetime
    slack: str
    """How long it may slip before the finish of the whole moves."""
    slack_minutes: int
    jobs_left: int
    set_by: tuple[str, ...]
    """The last jobs of the chain that sets it."""


class Step(Frozen):
    """One job of the chain that sets the finish."""

    job: str
    site: str
    """Where it is done; where it is handed on, first."""
    why: str


class Door(Frozen):
    """Something that lands just after closing time."""

    what: str
    site: str
    lands: datetime
    closed: datetime
    opens: datetime | None


class Foreseen(Frozen):
    """A plan of all that is left to do."""

    entry: int
    now: datetime
    is_done: bool
    headline: str
    is_late: bool
    finish: datetime
    low: datetime
    high: datetime
    premiere: datetime
    reels: tuple[ReelFinish, ...]
    """The last one to be finished first."""
    bars: tuple[Bar, ...]
    flights: tuple[Flight, ...]
    houses: tuple[House, ...]
    chain: tuple[Step, ...]
    doors: tuple[Door, ...]
    """What lands just after closing time, each once."""
    shut_doors: tuple[str, ...]
    """The same in sentences, with the sites' own times."""
    shared_lines: tuple[str, ...]
    """Lines that several things take at once, in sentences: they may land later than planned."""
    prints: tuple[str, ...]
    granted: tuple[str, ...]
    """What was taken for granted."""
    tz_release: str
    method: str
    """Who found the plan."""


def foreseen(found: Forecast) -> Foreseen:
    """Return a forecast as rows."""
    return Foreseen(
        entry=found.ground.state.sequence,
        now=found.ground.now,
        is_done=found.is_done,
        headline=headline(found),
        is_late=not found.is_done and found.minutes_late(found.finish) > 0,
        finish=found.finish,
        low=found.low,
        high=found.high,
        premiere=found.premiere,
        reels=tuple(_reel(found, each) for each in found.reels),
        bars=_bars(found),
        flights=tuple(_flight(found, each) for each in found.plan.arrivals if _travels(each)),
        houses=_houses(found),
        chain=_chain(found),
        doors=tuple(dict.fromkeys(_door(found, each) for each in found.shut_doors)),
        shut_doors=at_the_doors(found),
        shared_lines=tuple(of_a_line(each) for each in shared_lines(found)),
        prints=tuple(of_a_print(each) for each in prints_of(found)),
        granted=guesses_of(found.ground),
        tz_release=found.tz,
        method=by_whom(found),
    )


def _reel(found: Forecast, each: ReelOutlook) -> ReelFinish:
    return ReelFinish(
        reel=each.reel,
        finish=each.finish,
        low=each.low,
        high=each.high,
        slack=how_long(each.slack),
        slack_minutes=each.slack,
        jobs_left=each.left,
        set_by=tuple(found.title(task) for task in each.chain[-3:]),
    )


def _bars(found: Forecast) -> tuple[Bar, ...]:
    setting = {link.task for link in found.plan.chain}
    pieces = sorted(found.plan.pieces, key=lambda each: (each.start, each.finish, each.task))
    return tuple(_bar(found, piece, sets_finish=piece.task in setting) for piece in pieces)


def _bar(found: Forecast, piece: Piece, *, sets_finish: bool) -> Bar:
    at, job = found.ground.instant, found.ground.state.jobs.get(piece.task)
    return Bar(
        job=piece.task,
        title=found.title(piece.task),
        reel=reel_of_task(piece.task),
        stage=found.tasks[piece.task].stage,
        site=place_of(piece.site),
        place=place_in_words(piece.site),
        start=at(piece.start),
        finish=at(piece.finish),
        spells=tuple(Span(start=at(first), end=at(last)) for first, last in piece.spells),
        is_under_way=job is not None and job.standing is Standing.CLAIMED and piece.start <= 0,
        sets_finish=sets_finish,
        goes_on=piece.handed_on,
        waits_for=told(cause_in_words(found.problem, piece.cause, piece)),
    )


def _chain(found: Forecast) -> tuple[Step, ...]:
    where: dict[str, str] = {}
    for piece in found.plan.pieces:
        where.setdefault(piece.task, place_of(piece.site))
    return tuple(
        Step(job=link.task, site=where.get(link.task, ""), why=told(link.sentence)) for link in found.plan.chain
    )


def _door(found: Forecast, door: ShutDoor) -> Door:
    what = found.title(door.arrival.task)
    return Door(what=what, site=door.site, lands=door.lands, closed=door.closed, opens=door.opens)


def _travels(arrival: Arrival) -> bool:
    return place_of(arrival.site) != place_of(arrival.source)


def _flight(found: Forecast, arrival: Arrival) -> Flight:
    return Flight(
        of=found.title(arrival.task),
        to_do=found.title(arrival.wanted_by),
        reel=reel_of_task(arrival.task),
        site=place_of(arrival.site),
        source=place_of(arrival.source),
        leaves=found.ground.instant(arrival.leaves),
        lands=found.ground.instant(arrival.lands),
        half_done=arrival.half_done,
    )


def _houses(found: Forecast) -> tuple[House, ...]:
    """Return every site with its hours as far as the plan goes, and a day on."""
    end = max((piece.finish for piece in found.plan.pieces), default=0) + 24 * 60
    zones = {site.name: site.zone for site in found.ground.film.sites}
    at = found.ground.instant
    return tuple(
        House(
            site=each.name,
            zone=zones[each.name],
            hours=tuple(
                Span(start=at(max(first, 0)), end=at(min(last, end))) for first, last in each.windows if first < end
            ),
        )
        for each in found.problem.sites
        if each.name in zones
    )
