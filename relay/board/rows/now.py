"""The first page: a sentence that says whether anything is wrong, then what is, who is awake, what is moving. Pure."""

from collections.abc import Mapping
from datetime import datetime

from relay.board.rows.moves import Move, move_of
from relay.board.rows.needs import Cost, Need, needs_of
from relay.board.rows.reels import ReelRow
from relay.board.rows.sites import Day, SiteRow, Word, day_of, site_rows
from relay.board.rows.view import Span, View
from relay.ledger import owed
from relay.model import Frozen, ReelName, VersionName, frame_count
from relay.wording import bytes_in_words, count, span_in_words


class Crossing(Frozen):
    """A version on its way from one site to another."""

    version: VersionName
    by: str
    to: str
    since: datetime
    size: str
    lands: datetime | None = None
    """When it is expected; None where no forecast says so."""


class Premiere(Frozen):
    """The date that does not move."""

    venue: str
    instant: datetime
    local: str
    left: str
    hours: int
    is_over: bool
    forecast: datetime | None = None
    """When the last job is expected to be done; None where no forecast says so."""
    best: datetime | None = None
    worst: datetime | None = None
    spare: str = ""
    """How long before the premiere that is, or after it, in words."""


class Progress(Frozen):
    """How far the whole production is, in frames that were accepted at each stage."""

    stage: str
    frames: int
    of: int
    reels: int
    of_reels: int


class Turn(Frozen):
    """What waits for one site."""

    site: str | None
    """None: for whoever comes first."""
    town: str
    moves: tuple[Move, ...]
    """What is late first, then what is due first."""


class Resting(Frozen):
    """Reels on which nobody has a move."""

    words: str
    """Why: `done`, `waits for other reels`, `nothing was sent yet`."""
    reels: tuple[ReelName, ...]


class Now(Frozen):
    """Everything on the first page."""

    entry: int
    time: datetime
    is_wrong: bool
    """Whether anything is, beside what people only keep in mind."""
    kicker: str
    """The headline in a word."""
    headline: str
    under: str
    needs: tuple[Need, ...]
    turns: tuple[Turn, ...]
    """Who has the move, the site with the most that is late first."""
    resting: tuple[Resting, ...]
    """Every reel that is in no turn."""
    crossings: tuple[Crossing, ...]
    sites: tuple[SiteRow, ...]
    day: Day
    premiere: Premiere
    progress: tuple[Progress, ...]


def now_of(
    view: View, reels: tuple[ReelRow, ...], spoke: Mapping[str, Word], shifts: Mapping[str, tuple[Span, ...]]
) -> Now:
    """Return the first page of what `view` shows, whose `reels` are at hand."""
    needs, sites = needs_of(view), site_rows(view, spoke, shifts)
    urgent = urgent_of(needs)
    return Now(
        entry=view.state.sequence,
        time=view.now,
        is_wrong=bool(urgent),
        kicker=(urgent or needs)[0].mark if needs else "quiet",
        headline=_headline(urgent, needs, reels),
        under=_under(sites),
        needs=needs,
        turns=turns_now(view),
        resting=resting(reels),
        crossings=crossings(view, sites),
        sites=sites,
        day=day_of(view.now),
        premiere=_premiere(view),
        progress=progress(view, reels),
    )


def urgent_of(needs: tuple[Need, ...]) -> tuple[Need, ...]:
    """Return what is wrong: not what somebody was offered in time, nor a loan to keep in mind."""
    return tuple(need for need in needs if need.cost not in {Cost.OFFERED, Cost.LOAN})


def _headline(urgent: tuple[Need, ...], needs: tuple[Need, ...], reels: tuple[ReelRow, ...]) -> str:
    if urgent:
        more = f", and {count(len(urgent) - 1, 'thing')} more" if len(urgent) > 1 else ""
        return f"{urgent[0].title}{more}."
    if reels and all(row.is_done for row in reels if row.strip.layers):
        return "Every reel is done."
    return "Nothing is wrong." + (f" {count(len(needs), 'thing')} to keep in mind." if needs else "")


def _under(sites: tuple[SiteRow, ...]) -> str:
    holding = [site for site in sites if site.holds]
    held = "; ".join(f"{site.town} holds {count(len(site.holds), 'job')}" for site in holding)
    known = [site for site in sites if site.is_awake is not None]
    awake = [site.town for site in (known or sites) if (site.is_awake if known else site.is_day)]
    if known:
        up = f"{_listed(awake)} {'is' if len(awake) == 1 else 'are'} at work" if awake else "Nobody is at work"
    else:
        up = f"It is day in {_listed(awake)}" if awake else "It is night everywhere"
    return f"{up}. {held}." if held else f"{up}. Nobody holds a job."


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def turns_now(view: View) -> tuple[Turn, ...]:
    """Return every open move, by the site that has it."""
    found: dict[str | None, list[Move]] = {}
    for job in view.state.jobs.values():
        if move := move_of(view, job):
            found.setdefault(move.site, []).append(move)
    turns = [
        Turn(site=site, town=view.title_of(site) if site else "Whoever comes first", moves=tuple(_by_urgency(moves)))
        for site, moves in found.items()
    ]
    return tuple(sorted(turns, key=lambda turn: (-sum(move.is_late for move in turn.moves), turn.town)))


def resting(reels: tuple[ReelRow, ...]) -> tuple[Resting, ...]:
    """Return the reels without a move, by what their row says of them."""
    found: dict[str, list[ReelName]] = {}
    for row in reels:
        if not row.moves:
            found.setdefault(row.state_in_words, []).append(row.reel)
    return tuple(Resting(words=words, reels=tuple(names)) for words, names in found.items())


def _by_urgency(moves: list[Move]) -> list[Move]:
    return sorted(moves, key=lambda move: (not move.is_late, move.until or move.since, move.job))


def crossings(view: View, sites: tuple[SiteRow, ...]) -> tuple[Crossing, ...]:
    """Return what is on its way: meant for a site, that has signed no receipt for it yet."""
    found = [
        Crossing(
            version=name,
            by=made.by,
            to=site.site,
            since=made.time,
            size=bytes_in_words(made.size),
            lands=view.lands.get((name, site.site)),
        )
        for site in sites
        for name in site.owes
        if (made := view.state.versions[name]).by != site.site and owed.newest_receipt(made, site.site) is None
    ]
    return tuple(sorted(found, key=lambda each: each.since))


def _premiere(view: View) -> Premiere:
    held, seen = view.film.premiere, view.outlook
    left = held.instant() - view.now
    spare = held.instant() - seen.finish if seen else None
    told = "" if spare is None else f"{span_in_words(spare)} {'after it' if spare.total_seconds() < 0 else 'before it'}"
    return Premiere(
        venue=held.venue,
        instant=held.instant(),
        local=f"{held.at:%a %-d %b %Y, %H:%M}",
        left=span_in_words(left),
        hours=abs(int(left.total_seconds())) // 3600,
        is_over=left.total_seconds() <= 0,
        forecast=seen.finish if seen else None,
        best=seen.low if seen else None,
        worst=seen.high if seen else None,
        spare=told,
    )


def progress(view: View, reels: tuple[ReelRow, ...]) -> tuple[Progress, ...]:
    """Return for each stage how many frames of how many were accepted. Parts of a reel count as parts."""
    found: dict[str, list[int]] = {stage.name: [0, 0, 0, 0] for stage in view.film.route}
    for row in reels:
        for layer in row.strip.layers:
            if layer.job is not None and view.state.jobs[layer.job].frames:
                continue  # a second pass on some frames: the whole reel's own layer counts
            sums, is_done = found[layer.stage], layer.fill == "accepted"
            sums[0] += frame_count(layer.frames) if is_done else 0
            sums[1] += frame_count(layer.frames)
            sums[2] += is_done
            sums[3] += 1
    return tuple(
        Progress(stage=stage, frames=done, of=of, reels=reels_done, of_reels=of_reels)
        for stage, (done, of, reels_done, of_reels) in found.items()
        if of_reels
    )
