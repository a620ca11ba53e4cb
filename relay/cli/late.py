"""What `relay late` answers: what a print that came late adds, what it costs, and whether the forecast allows it."""

from typing import NamedTuple

from relay.cli.answer import Page, answer, bytes_in_words, count
from relay.cli.better import better, differences, figures
from relay.cli.keeping import keep_facts, kept_in_words
from relay.cli.numbers import pairs_of
from relay.clock import Clock
from relay.errors import MissingError, RefusedError
from relay.forecast.ground import Ground
from relay.forecast.outlook import Forecast, beside, forecast
from relay.forecast.patience import EXACT, patience
from relay.forecast.taking import Hours, element_named, hours_of, with_frames, without
from relay.forecast.words import headline, moved
from relay.ledger.state import Material
from relay.model import Element, ElementKind, ReelName, frame_count
from relay.programme.lacking import Fill
from relay.programme.late import Filled
from relay.settings import Home
from relay.shifts.spoken import how_long
from relay.shifts.zones import minute_of
from relay.transfer.lacking import Lacking
from relay.transfer.late import Beside, LateReel, late_reels
from relay.transfer.material import About
from relay.wiring import open_desk
from relay.wording import in_words


class Taken(NamedTuple):
    """What is supposed to be taken of the print: how much that is, what it needs, when all is finished then."""

    frames: int
    size: int
    hours: tuple[Hours, ...]
    then: Forecast | None


class Told(NamedTuple):
    """The whole report."""

    element: Element
    reels: tuple[LateReel, ...]
    without: Forecast | None
    gaps: Taken
    whole: Taken
    unplanned: str
    """Why there is no forecast; empty where there is one."""


def answer_late(
    home: Home, code: str, *, site: str | None, places: int, seconds: float, keep: bool, as_json: bool
) -> None:
    """Read, measure and plan, and show it. Raises MissingError, RefusedError, BrokenError."""
    with open_desk(home) as desk:
        state = desk.ledger.follow()
        ground = Ground.of(state, desk.now(), Lacking(desk.manifests, state))
        element = element_named(ground.film, code)
        if element.kind is ElementKind.RESTORED_PROGRAMME:
            raise RefusedError(f"{code} is the restored film, made of the prints: name a print, such as those it shows")
        if site is not None and ground.film.site(site) is None:
            raise MissingError(f"the production has no site {site}: `relay site list` names them")
        reels = late_reels(desk, ground, element, places)
        found = _told(ground, element, reels, site, desk.clock, seconds)
        facts = _facts(found)
        kept = (
            keep_facts(desk, f"late_{code}.json", facts, About(code), "the report on a print that came")
            if keep
            else None
        )
    answer({**facts, "kept": kept.entry if kept else None}, as_json=as_json, show=lambda page: _show(page, found, kept))


def _told(
    ground: Ground, element: Element, reels: tuple[LateReel, ...], site: str | None, clock: Clock, seconds: float
) -> Told:
    code = element.code
    some: dict[ReelName, int] = {each.reel: frame_count(each.added) for each in reels}
    every = {each.reel: each.frames for each in reels}
    today: Forecast | None = None
    then: tuple[Forecast | None, ...] = (None, None)
    why = ""
    try:
        today = forecast(without(ground, code), patience(clock, seconds), exact_seconds=EXACT * seconds)
        then = tuple(
            beside(today, with_frames(ground, code, each), patience(clock, seconds), exact_seconds=EXACT * seconds)
            for each in (some, every)
        )
    except RefusedError as error:  # no route, or a premiere that is past: all the rest can still be said
        today, why = None, str(error)
    sizes = sum(each.added_size for each in reels), sum(each.size for each in reels)
    gaps, whole = (
        Taken(sum(frames.values()), size, hours_of(ground, code, frames, site), plan)
        for frames, size, plan in zip((some, every), sizes, then, strict=True)
    )
    return Told(element, reels, today, gaps, whole, why)


def _facts(found: Told) -> dict[str, object]:
    return {
        "element": found.element.code,
        "reels": [_reel_facts(each) for each in found.reels],
        "cost": {"filling": _cost_facts(found.gaps), "whole": _cost_facts(found.whole)},
        "forecast": None
        if found.without is None
        else {
            "without": _plan_facts(found.without),
            "filling": _plan_facts(found.gaps.then),
            "whole": _plan_facts(found.whole.then),
            "verdict": verdict(found),
        },
        "no_forecast": found.unplanned or None,
    }


def _reel_facts(reel: LateReel) -> dict[str, object]:
    return {
        "reel": reel.reel,
        "version": reel.version,
        "beside": list(reel.others),
        "sent": reel.is_sent,
        "fills": [_filled_facts(each) for each in reel.filled],
        "adds": pairs_of(reel.added),
        "fills_frames": reel.fills,
        "nowhere": reel.nowhere,
        "not_known": reel.not_known,
        "quality": [
            {
                "frames": pairs_of([each.at.frames])[0],
                "beside": each.other,
                "other_frames": pairs_of([each.at.others])[0],
                "late": each.late._asdict(),
                "other": each.there._asdict(),
                "by": dict(differences(each.late, each.there)),
            }
            for each in reel.looks
        ],
    }


def _filled_facts(each: Filled) -> dict[str, object]:
    return {
        "version": each.version,
        "frames": pairs_of([each.gap.frames])[0] if each.gap.frames else None,
        "after": each.gap.after,
        "length": each.gap.length,
        "by": pairs_of(each.fill.frames),
        "count": each.fill.count,
        "sure": each.fill.sure,
        "adds": each.adds(),
        "before": None if each.before is None else {"version": each.before.version, "count": each.before.count},
    }


def _cost_facts(taken: Taken) -> dict[str, object]:
    return {
        "frames": taken.frames,
        "bytes": taken.size,
        "hours": [
            {
                "stage": each.stage,
                "site": each.site,
                "frames": each.frames,
                "minutes": {"low": each.low, "likely": each.likely, "high": each.high},
                "why": each.why,
            }
            for each in taken.hours
        ],
    }


def _plan_facts(plan: Forecast | None) -> dict[str, object] | None:
    if plan is None:
        return None
    if plan.is_done:
        return {"done": True, "finish": None, "late_by_minutes": 0}
    ends = {"low": plan.low.isoformat(), "likely": plan.finish.isoformat(), "high": plan.high.isoformat()}
    return {"done": False, "finish": ends, "late_by_minutes": plan.minutes_late(plan.finish)}


def verdict(found: Told) -> str:
    """Return how much of the print can be taken before the premiere; or that the plan is late without it."""
    plans = (found.without, found.gaps.then, found.whole.then)
    in_time = [plan is not None and (plan.is_done or plan.minutes_late(plan.finish) <= 0) for plan in plans]
    if not in_time[0]:
        return "late without it"
    return "all of it" if in_time[2] else "what fills gaps" if in_time[1] else "none of it"


_VERDICTS = {
    "late without it": "The plan is late without this print: each hour for it comes on top.",
    "all of it": "The forecast allows all of it.",
    "what fills gaps": "The forecast allows what fills gaps, and not the whole print.",
    "none of it": "The forecast allows none of it: with what fills gaps, the premiere would be missed.",
}


def _show(page: Page, found: Told, kept: Material | None) -> None:
    element = found.element
    generation = f", {element.generation}" if element.generation else ""
    page.line(f": {element.title} ({element.kind}{generation}), from {element.holder}.", head=element.code)
    page.line(_in_short(found))
    for reel in found.reels:
        page.line()
        _show_reel(page, reel)
    page.line()
    _show_cost(page, found)
    page.line()
    _show_plans(page, found)
    page.line(kept_in_words(kept) if kept else "Nothing was saved; `--keep` keeps this report.")
    page.line("Nothing is chosen: `relay decide` says a choice.")


def _in_short(found: Told) -> str:
    filling, hours = found.gaps, sum(each.likely for each in found.gaps.hours)
    known = [reel for reel in found.reels if reel.version is not None]
    if not known:
        return "Nothing is known yet of what it fills."
    rest, doubtful = len(found.reels) - len(known), sum(reel.not_known for reel in known)
    unknown = f"; of {count(rest, 'reel')} nothing is known" if rest else ""
    unknown = (f"; of {count(doubtful, 'place')} nobody knows" if doubtful else "") + unknown
    work = f", {how_long(hours)} of work" if hours else ""
    allowed = f" {_VERDICTS[verdict(found)]}" if found.without else ""
    cost = f"{bytes_in_words(filling.size)}{work}"
    fills = sum(reel.fills for reel in known)
    if not fills:
        nothing = "as far as is known it fills nothing that" if doubtful else "it fills nothing that"
        return f"In short: {nothing} no other print did{unknown}.{allowed}"
    return f"In short: it fills {count(fills, 'frame')} that no other print did ({cost}){unknown}.{allowed}"


def _show_reel(page: Page, reel: LateReel) -> None:
    if reel.version is None:
        lacks = "was put beside no other print yet" if reel.is_sent else "was not sent yet"
        page.line(f" {lacks}: what it adds is not known. `relay align` puts prints side by side.", head=reel.reel)
        return
    adds = count(reel.fills, "frame")
    page.line(f", beside {', '.join(reel.others)}: {adds} of it fill what no other print did.", head=reel.version)
    if reel.filled:
        heads = ("print", "lacks", "frames", f"{reel.version} has", "until now")
        page.table(heads, [_filled_row(each) for each in reel.filled])
    if reel.nowhere:
        page.line(f"Even with it, no print has all of {count(reel.nowhere, 'place')} that other prints lack.")
    if reel.not_known:
        places = count(reel.not_known, "place")
        page.line(
            f"Of {places} that other prints lack nobody knows whether it has them: look at both, and `relay pin`."
        )
    if reel.looks:
        page.line("How it looks where both hold the frames, and by how much that is more or less than the other:")
        columns = ("frames", "beside", "sharp %", "grain %", "tones %", "damage ‰", "picture %", "decay %")
        page.table(columns, [_look_row(each) for each in reel.looks])
        for other in dict.fromkeys(each.other for each in reel.looks):
            page.line(f": {better(reel, other)}.", head=f"Shot by shot, beside {other}")


def _filled_row(each: Filled) -> tuple[str, ...]:
    at = each.gap.frames or ("before its first frame" if each.gap.after is None else f"after {each.gap.after}")
    had = "nobody" if each.before is None else f"{each.before.version} has {each.before.most}{_doubt(each.before)}"
    return each.version, str(at), str(each.gap.length), _has(each.fill), had


def _has(fill: Fill) -> str:
    some = f"{fill.wanted} of these: " if fill.count > fill.wanted else ""
    part = "" if fill.is_whole() else f", {fill.count} of {fill.wanted}"
    return f"{some}{in_words(fill.frames, 4)}{part}{_doubt(fill)}"


def _doubt(fill: Fill) -> str:
    return "" if fill.sure else ", not sure: look"


def _look_row(each: Beside) -> tuple[str, ...]:
    by = differences(each.late, each.there)
    told = [f"{value:.2f} ({by[name]:+.2f})" for name, value in figures(each.late).items()]
    return str(each.at.frames), each.other, *told


def _show_cost(page: Page, found: Told) -> None:
    rows = [
        (name, f"{taken.frames:,}", bytes_in_words(taken.size))
        for name, taken in (("what fills gaps", found.gaps), ("the whole print", found.whole))
    ]
    page.table(("to be worked on", "frames", "bytes"), rows)
    if found.whole.hours:
        filling = {(each.stage, each.site): each for each in found.gaps.hours}
        hours = [
            (each.stage, each.site, _span(filling.get((each.stage, each.site))), _span(each), each.why)
            for each in found.whole.hours
        ]
        page.table(("stage", "site", "what fills gaps", "the whole print", "that is"), hours)


def _span(each: Hours | None) -> str:
    return f"{how_long(each.likely)} ({how_long(each.low)} to {how_long(each.high)})" if each else "0 min"


def _show_plans(page: Page, found: Told) -> None:
    if found.without is None:
        page.line(f": {found.unplanned}.", head="No forecast")
        return
    page.line(f": {headline(found.without)}.", head="Without it")
    for name, then in (("With what fills gaps", found.gaps.then), ("With all of it", found.whole.then)):
        if then is not None:
            page.line(f": {headline(then)}{_later(found.without, then)}.", head=name)
    page.line(_VERDICTS[verdict(found)])


def _later(before: Forecast, after: Forecast) -> str:
    if before.is_done or after.is_done:
        return ""
    return f"; {moved(minute_of(after.finish) - minute_of(before.finish))}"
