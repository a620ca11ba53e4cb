"""What `relay who` answers: who is awake, until when, what they hold, and what is on its way to whom."""

from datetime import datetime, timedelta

from relay.cli.answer import Page, answer, bytes_in_words
from relay.cli.bands import COLUMNS, band, first_minute, local_ruler, ruler
from relay.forecast.awake import Coming, Presence, presences
from relay.forecast.ground import Ground
from relay.forecast.guesses import hours_guessed
from relay.ledger.job_state import Job
from relay.settings import Home
from relay.shifts.zones import minute_of, tz_release
from relay.transfer.lacking import Lacking
from relay.wiring import open_desk


def answer_who(home: Home, *, as_json: bool) -> None:
    """Look, and show."""
    with open_desk(home) as desk:
        state = desk.ledger.follow()
        ground = Ground.of(state, desk.now(), Lacking(desk.manifests, state))
        sites = presences(ground)
    facts: dict[str, object] = {
        "now": ground.now.isoformat(),
        "tz_release": tz_release(),
        "sites": [_facts(site) for site in sites],
    }
    facts["taken_for_granted"] = list(hours_guessed(ground))
    answer(facts, as_json=as_json, show=lambda page: _show(page, ground, sites))


def _facts(site: Presence) -> dict[str, object]:
    return {
        "site": site.site,
        "zone": site.zone,
        "local": site.local.isoformat(),
        "joined": site.has_joined,
        "awake": site.is_awake,
        "closes": site.turns.isoformat() if site.turns and site.is_awake else None,
        "opens": site.turns.isoformat() if site.turns and not site.is_awake else None,
        "day_off": site.day_off,
        "holds": [
            {"job": job.job, "until": job.claim.until.isoformat() if job.claim and job.claim.until else None}
            for job in site.holds
        ],
        "offered": [job.job for job in site.offered],
        "asked": [job.job for job in site.asked],
        "coming": [
            {"version": each.version, "bytes": each.size, "lands": each.lands.isoformat()} for each in site.coming
        ],
    }


def _show(page: Page, ground: Ground, sites: tuple[Presence, ...]) -> None:
    page.line(f"{ground.now:%a %Y-%m-%d %H:%M} UTC", head="Now ")
    page.line()
    heads = ("site", "their time", "", "holds", "is asked for", "on its way there")
    page.table(heads, [_row(ground, site) for site in sites])
    page.line()
    show_bands(page, ground)
    for guess in hours_guessed(ground):
        page.line()
        page.line(f"Taken for granted: {guess}.")


def _row(ground: Ground, site: Presence) -> tuple[str, ...]:
    return (
        site.site,
        f"{site.local:%a %H:%M}",
        awake_in_words(ground, site),
        ", ".join(_held(job) for job in site.holds),
        ", ".join([*(f"{job.job} (offered)" for job in site.offered), *(job.job for job in site.asked)]),
        ", ".join(_landing(ground, site, each) for each in site.coming),
    )


def awake_in_words(ground: Ground, site: Presence) -> str:
    """Return until when a site works, or when it opens, by its own clock."""
    if not site.has_joined:
        return "has not joined yet"
    why = f" ({site.day_off})" if site.day_off else ""
    if site.turns is None:
        return "awake, day and night" if site.is_awake else f"asleep, and no shift in sight{why}"
    at = _by_their_clock(ground, site, site.turns)
    return f"awake until {at}" if site.is_awake else f"asleep until {at}{why}"


def _by_their_clock(ground: Ground, site: Presence, instant: datetime) -> str:
    local = ground.calendars[site.site].local(minute_of(instant))
    if local.date() == site.local.date():
        return f"{local:%H:%M}"
    return f"{local:%a %H:%M}" if local - site.local < timedelta(days=6) else f"{local:%a %d %b %H:%M}"


def _held(job: Job) -> str:
    until = job.claim.until if job.claim else None
    return job.job + (f" until {until:%a %d %b %H:%M} UTC" if until else "")


def _landing(ground: Ground, site: Presence, coming: Coming) -> str:
    if coming.size == 0:
        return f"{coming.version}, all of it there"
    local = ground.calendars[site.site].local(minute_of(coming.lands))
    return f"{coming.version} ({bytes_in_words(coming.size)}), lands {local:%a %H:%M}"


def show_bands(page: Page, ground: Ground) -> None:
    """Draw the next 24 hours of every site that works, in UTC, with its own hours beneath."""
    start = first_minute(minute_of(ground.now))
    names = [site.name for site in ground.film.sites if site.stages or site.shifts]
    width = max([len("UTC"), *map(len, names)]) + 2
    page.line(ruler(start), head="UTC".ljust(width))
    for name in names:
        calendar = ground.calendars[name]
        page.line(band(calendar, start).ljust(COLUMNS), head=name.ljust(width))
        page.line(" " * width + local_ruler(calendar, start))
