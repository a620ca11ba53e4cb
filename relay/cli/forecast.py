"""What `relay forecast` answers: when each reel is finished, what sets that, what would help."""

from datetime import datetime
from pathlib import Path

from relay.cli.answer import Page, answer
from relay.cli.bands import bar
from relay.cli.production_file import read_production
from relay.cli.who import show_bands
from relay.clock import Clock
from relay.errors import MissingError, RefusedError
from relay.forecast.feed import write_feeds
from relay.forecast.ground import Ground
from relay.forecast.guesses import guesses_of
from relay.forecast.outlook import Forecast, ReelOutlook, beside, forecast
from relay.forecast.patience import EXACT, patience
from relay.forecast.prints import prints_of
from relay.forecast.sharing import shared_lines
from relay.forecast.supposing import on, supposed
from relay.forecast.words import (
    at_the_doors,
    by_whom,
    headline,
    moved,
    of_a_line,
    of_a_print,
    place_in_words,
    told,
    when,
)
from relay.settings import Home
from relay.shifts.explain import why as why_so
from relay.shifts.problem import TaskId
from relay.shifts.spoken import how_long
from relay.shifts.zones import minute_of
from relay.transfer.lacking import Lacking
from relay.wiring import open_desk

_SHOWN = 24
"""Bars in a picture, shut doors in a list: more than that nobody reads."""

_COLUMNS = 60


def answer_forecast(
    home: Home,
    *,
    what_if: list[str],
    why: str | None,
    calendars: Path | None,
    seconds: float,
    as_json: bool,
) -> None:
    """Plan, and show what was asked. Raises RefusedError, MissingError."""
    with open_desk(home) as desk:
        state = desk.ledger.follow()
        ground = Ground.of(state, desk.now(), Lacking(desk.manifests, state))
        today = forecast(ground, patience(desk.clock, seconds), exact_seconds=EXACT * seconds)
        then = _then(today, what_if, desk.clock, seconds) if what_if else None
    facts = _facts(today) | ({"what_if": {"supposed": what_if, **_facts(then)}} if then else {})
    if why is not None:
        sentence = told(why_so(today.problem, today.plan, _task_named(today, why)))
        answer({"job": why, "why": sentence}, as_json=as_json, show=lambda page: page.line(sentence))
        return
    if calendars is not None:
        facts["calendars"] = [str(path) for path in write_feeds(today, calendars)]
    answer(facts, as_json=as_json, show=lambda page: _show(page, today, then, what_if, facts))


def _then(today: Forecast, what_if: list[str], clock: Clock, seconds: float) -> Forecast:
    ground = today.ground
    for text in what_if:
        ground = on(ground, read_production(Path(text))) if text.endswith(".toml") else supposed(ground, text)
    return beside(today, ground, patience(clock, seconds), exact_seconds=EXACT * seconds)


def _task_named(today: Forecast, text: str) -> TaskId:
    for name in (text, f"{text}/1"):
        if name in today.plan.outlooks:
            return TaskId(name)
        if name in today.tasks:
            raise RefusedError(f"{name} is done: there is nothing left to plan of it; `relay reel show` tells")
    raise MissingError(f"no job {text} is planned: `relay forecast --json` lists them, such as scan/A/R03/1")


def _facts(today: Forecast) -> dict[str, object]:
    return {
        "now": today.ground.now.isoformat(),
        "tz_release": today.tz,
        "method": today.plan.method,
        "premiere": today.premiere.isoformat(),
        "done": today.is_done,
        "finish": {"low": _iso(today.low), "likely": _iso(today.finish), "high": _iso(today.high)},
        "late_by_minutes": 0 if today.is_done else today.minutes_late(today.finish),
        "reels": [_reel_facts(reel) for reel in today.reels],
        "jobs": [_job_facts(today, task) for task in today.plan.outlooks],
        "chain": [{"job": link.task, "why": told(link.sentence)} for link in today.plan.chain],
        "arrivals": [
            {
                "of": each.task,
                "for": each.wanted_by,
                "site": place_in_words(each.site),
                "from": place_in_words(each.source),
                "lands": _iso(today.ground.instant(each.lands)),
                "half_done": each.half_done,
            }
            for each in today.plan.arrivals
        ],
        "shut_doors": [
            {
                "of": door.arrival.task,
                "site": door.site,
                "lands": _iso(door.lands),
                "closed": _iso(door.closed),
                "opens": door.opens and _iso(door.opens),
            }
            for door in today.shut_doors
        ],
        "shared_lines": [
            {"site": each.site, "things": each.things, "since": _iso(each.since), "later_minutes": each.later}
            for each in shared_lines(today)
        ],
        "prints": [
            {
                "element": each.element,
                "holder": each.holder,
                "lent_to": each.lent_to,
                "last_needed": each.last_needed and _iso(each.last_needed),
                "last_day": each.last_day.isoformat(),
                "spare_minutes": each.spare,
            }
            for each in prints_of(today)
        ],
        "taken_for_granted": list(guesses_of(today.ground)),
    }


def _iso(instant: datetime) -> str:
    return instant.isoformat()


def _reel_facts(reel: ReelOutlook) -> dict[str, object]:
    return {
        "reel": reel.reel,
        "finish": {"low": _iso(reel.low), "likely": _iso(reel.finish), "high": _iso(reel.high)},
        "slack_minutes": reel.slack,
        "jobs_left": reel.left,
        "chain": list(reel.chain),
    }


def _job_facts(today: Forecast, task: TaskId) -> dict[str, object]:
    outlook = today.plan.outlooks[task]
    at = today.ground.instant
    return {
        "job": task,
        "sites": [place_in_words(site) for site in outlook.sites],
        "starts": _iso(at(outlook.start)),
        "finish": {
            "low": _iso(at(outlook.finish_low)),
            "likely": _iso(at(outlook.finish)),
            "high": _iso(at(outlook.finish_high)),
        },
        "slack_minutes": outlook.slack,
    }


def _show(page: Page, today: Forecast, then: Forecast | None, texts: list[str], facts: dict[str, object]) -> None:
    page.line(f": {headline(today)}.", head=today.ground.film.title)
    if then:
        page.line(f": {headline(then)}.", head=f"If {' and '.join(texts)}")
    page.line()
    if then:
        _show_beside(page, today, then)
    elif not today.is_done:
        _show_reels(page, today)
        _show_chain(page, today)
    _show_prints(page, then or today)
    _show_doors(page, then or today)
    _show_lines(page, then or today)
    _show_picture(page, then or today)
    _show_guesses(page, then or today)
    for path in facts.get("calendars", []):  # type: ignore[attr-defined]
        page.line(f"{path} is written.")


def _show_reels(page: Page, today: Forecast) -> None:
    heads = ("reel", "finished (UTC)", "at best", "at worst", "may slip", "jobs", "set by")
    page.table(heads, [_reel_row(today, reel) for reel in today.reels])
    page.line()


def _reel_row(today: Forecast, reel: ReelOutlook) -> tuple[str, ...]:
    return (
        reel.reel,
        when(reel.finish),
        when(reel.low),
        when(reel.high),
        how_long(reel.slack),
        str(reel.left),
        ", ".join(today.title(task) for task in reel.chain[-3:]),
    )


def _show_chain(page: Page, today: Forecast) -> None:
    page.line("What sets the finish:")
    for number, link in enumerate(today.plan.chain, 1):
        page.line(f"  {number}. {told(link.sentence)}")
    page.line()


def _show_beside(page: Page, today: Forecast, then: Forecast) -> None:
    before, after = ({reel.reel: reel for reel in each.reels} for each in (today, then))
    rows = []
    for reel in dict.fromkeys((*after, *before)):
        now, if_so = before.get(reel), after.get(reel)
        rows.append((reel, when(now.finish) if now else "", when(if_so.finish) if if_so else "", _moved(now, if_so)))
    page.table(("reel", "today (UTC)", "then (UTC)", "difference"), rows)
    page.line()


def _moved(now: ReelOutlook | None, then: ReelOutlook | None) -> str:
    if now is None or then is None:
        return "new" if then else "gone"
    return moved(minute_of(then.finish) - minute_of(now.finish))


def _show_prints(page: Page, today: Forecast) -> None:
    if prints := prints_of(today):
        page.line("Prints on loan:")
        for each in prints:
            page.line(f"  {of_a_print(each)}.")
        page.line()


def _show_doors(page: Page, today: Forecast) -> None:
    if not today.shut_doors:
        return
    page.line("Lands just after closing time:")
    doors = at_the_doors(today)
    for door in doors[:_SHOWN]:
        page.line(f"  {door}.")
    if len(doors) > _SHOWN:
        page.line(f"  and {len(doors) - _SHOWN} more; --json lists all")
    page.line()


def _show_lines(page: Page, today: Forecast) -> None:
    if shared := shared_lines(today):
        page.line("Lines that are shared:")
        for each in shared:
            page.line(f"  {of_a_line(each)}.")
        page.line()


def _show_picture(page: Page, today: Forecast) -> None:
    if today.is_done:
        return
    end = max(piece.finish for piece in today.plan.pieces)
    pieces = sorted(today.plan.pieces, key=lambda each: (each.start, each.finish))[:_SHOWN]
    labels = [f"{place_in_words(piece.site)}  {today.title(piece.task)}" for piece in pieces]
    width = max(map(len, labels)) + 2
    page.line(f"{when(today.ground.epoch)} to {when(today.ground.instant(end))} UTC", head="The plan  ")
    for label, piece in zip(labels, pieces, strict=True):
        page.line(label.ljust(width) + bar(piece.spells, 0, max(end, 1), _COLUMNS))
    if len(today.plan.pieces) > _SHOWN:
        page.line(f"  and {len(today.plan.pieces) - _SHOWN} more; --json lists all")
    page.line()
    show_bands(page, today.ground)
    page.line()


def _show_guesses(page: Page, today: Forecast) -> None:
    if guesses := guesses_of(today.ground):
        page.line("Taken for granted:")
        for guess in guesses:
            page.line(f"  {guess}.")
    page.line(f"Time zones by release {today.tz}. {by_whom(today)}.")
