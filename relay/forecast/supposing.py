"""What if: a site is closed, has one more hand or a faster line, a print comes late. The ground, as supposed. Pure."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from fractions import Fraction

from pydantic import ValidationError

from relay.errors import RefusedError
from relay.forecast.forms import FORMS
from relay.forecast.ground import Ground
from relay.forecast.houses import hands_at, people_at
from relay.model import Closure, Production, Site

_DAY = r"([0-9]{4}-[0-9]{2}-[0-9]{2})"


def supposed(ground: Ground, text: str) -> Ground:
    """Return `ground` as it would be if `text` were so. Raises RefusedError where it is none of `FORMS`."""
    for pattern, change in _CHANGES:
        if found := re.fullmatch(pattern, " ".join(text.split())):
            try:
                return change(ground, *found.groups())
            except (ValueError, ValidationError) as error:
                raise RefusedError(f"{text!r} cannot be: {_told(error)}") from error
    raise RefusedError(f"{text!r} is nothing to suppose here: write it like " + ", or ".join(map(repr, FORMS)))


def _told(error: Exception) -> str:
    if isinstance(error, ValidationError):
        return str(error.errors(include_url=False)[0]["msg"]).removeprefix("Value error, ")
    return str(error)


def _closed(ground: Ground, site: str, first: str, last: str | None) -> Ground:
    begins = date.fromisoformat(first)
    ends = date.fromisoformat(last) if last else begins
    closure = Closure(begins=begins, ends=ends, why="supposed to be closed")
    return _with_site(ground, site, closed=(*_site(ground, site).closed, closure))


def _one_more(ground: Ground, site: str, stage: str) -> Ground:
    worker = _site(ground, site)
    if stage not in worker.stages:
        raise ValueError(f"{site} does not do {stage}: the production's file gives it {', '.join(worker.stages)}")
    hands = {**worker.hands, stage: hands_at(worker, stage) + 1}
    return _with_site(ground, site, hands=hands, people=people_at(worker) + 1)


def _arrives(ground: Ground, code: str, day: str, site: str | None) -> Ground:
    element = next((each for each in ground.film.elements if each.code == code), None)
    if element is None:
        known = ", ".join(each.code for each in ground.film.elements)
        raise ValueError(f"the production has no element {code}: it has {known}")
    if element.loan is None:
        raise ValueError(f"element {code} is not on loan: it has no [element.loan] to arrive by")
    to = site or element.loan.lent_to
    if to is None:
        raise ValueError(f"nobody said which site {code} is lent to: write `{code} arrives {day} at SITE`")
    _site(ground, to)
    loan = element.loan.model_copy(update={"arrives": date.fromisoformat(day), "lent_to": to})
    changed = element.model_copy(update={"loan": loan})
    return _with_film(ground, elements=tuple(changed if each is element else each for each in ground.film.elements))


def _line(ground: Ground, site: str, times: str) -> Ground:
    _site(ground, site)
    factor = Fraction(times)
    if factor <= 0:
        raise ValueError("a line that carries nothing never delivers: write a number above 0")
    return replace(ground, faster={**ground.faster, site: ground.faster.get(site, Fraction(1)) * factor})


def _site(ground: Ground, name: str) -> Site:
    site = ground.film.site(name)
    if site is None:
        raise ValueError(f"the production has no site {name}: it has {', '.join(s.name for s in ground.film.sites)}")
    return site


def _with_site(ground: Ground, name: str, **changes: object) -> Ground:
    changed = _site(ground, name).model_copy(update=changes)
    return _with_film(ground, sites=tuple(changed if each.name == name else each for each in ground.film.sites))


def _with_film(ground: Ground, **changes: object) -> Ground:
    return on(ground, ground.film.model_copy(update=changes))


def on(ground: Ground, film: Production) -> Ground:
    """Return `ground` with another production's file, as it would be if that were revised to it."""
    return replace(ground, film=film)


_Change = Callable[..., Ground]
_CHANGES: tuple[tuple[str, _Change], ...] = (
    (rf"([a-z0-9-]+) closed {_DAY}(?: to {_DAY})?", _closed),
    (r"([a-z0-9-]+) one more at ([a-z0-9-]+)", _one_more),
    (rf"([A-Za-z0-9_-]+) arrives {_DAY}(?: at ([a-z0-9-]+))?", _arrives),
    (r"([a-z0-9-]+) line ([0-9]+(?:\.[0-9]+)?)", _line),
)
