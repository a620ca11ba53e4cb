"""Four houses round the world: the production that forecasts are about, and a ledger that keeps time."""

import copy
from datetime import UTC, datetime, timedelta
from typing import Any

from relay.model import Production
from relay.shifts.problem import Problem, Task
from tests.unit.ledger.job_scene import Floor

START = datetime(2027, 1, 4, 8, tzinfo=UTC)
"""A Monday, 08:00 in Lisbon and in Oslo 09:00."""

FILM: dict[str, Any] = {
    "name": "quillmark",
    "title": "The Lamp at Quillmark",
    "premiere": {"at": "2027-02-18T19:00:00", "zone": "Europe/Oslo", "venue": "The Blue Stove Hall"},
    "coordinator": "oslo",
    "site": [
        {"name": "oslo", "title": "Oslo", "zone": "Europe/Oslo", "shift": [{"from": "09:00", "to": "17:00"}]},
        {
            "name": "lisbon",
            "title": "Lisbon",
            "zone": "Europe/Lisbon",
            "stages": ["copy", "grade", "edit"],
            "shift": [{"from": "08:00", "to": "16:00"}],
            "line": 800,
        },
        {
            "name": "halifax",
            "title": "Halifax",
            "zone": "America/Halifax",
            "stages": ["scan"],
            "shift": [{"from": "08:00", "to": "12:00"}, {"from": "13:00", "to": "17:00"}],
            "hands": {"scan": 2},
            "rates": {"scan": 4000},
            "line": 80,
        },
        {
            "name": "kolkata",
            "title": "Kolkata",
            "zone": "Asia/Kolkata",
            "stages": ["grade", "edit"],
            "shift": [{"from": "10:00", "to": "18:00"}],
            "line": 80,
        },
    ],
    "stage": [
        {"name": "scan", "rate": 2000},
        {"name": "copy", "after": ["scan"], "rate": 100000, "command": ["shrink", "{input}", "{output}"]},
        {"name": "grade", "after": ["scan"], "rate": 1000, "next_opens_on": "acceptance", "may_move": False},
        {"name": "edit", "after": ["copy", "grade"], "of": ["P/R01"], "rate": 8000, "may_move": True, "hand_over": 20},
    ],
    "element": [
        {
            "code": "A",
            "title": "The tinted print",
            "kind": "projection print",
            "gauge": "35mm",
            "base": "nitrate",
            "holder": "Copper Shelf Film Vault",
            "loan": {
                "due_back": "2027-01-29",
                "credit": "a",
                "permitted_use": "b",
                "lent_to": "halifax",
                "arrives": "2027-01-05",
                "shipping_days": 3,
            },
            "reel": [{"name": "R01", "frames": 16000}, {"name": "R02", "frames": 8000}],
        },
        {
            "code": "P",
            "title": "The programme",
            "kind": "restored programme",
            "gauge": "35mm",
            "base": "none",
            "holder": "The production",
            "reel": [{"name": "R01", "frames": 24000}],
        },
    ],
}


def film(**changes: Any) -> Production:
    """Return the production; `site__lisbon={...}` changes a site, `stage__grade={...}` a stage, others the top."""
    told = copy.deepcopy(FILM)
    for name, change in changes.items():
        kind, _, which = name.partition("__")
        if which:
            next(each for each in told[kind] if which in {each.get("name"), each.get("code")}).update(change)
        else:
            told[name] = change
    return Production.model_validate(told)


class House(Floor):
    """A ledger in which each entry is told at `clock`."""

    clock = START - timedelta(days=3)

    def written(self, by: Any, *words: Any, **other: object) -> bytes:
        return super().written(by, *words, **{"time": self.clock, **other})

    @classmethod
    def of(cls, film: Production) -> "House":
        house = cls.founded(film=film, joined=tuple(site.name for site in film.sites if site.name != "oslo"))
        house.clock = START
        house.opens()
        return house

    def waits(self, **time: float) -> None:
        self.clock += timedelta(**time)


def task(problem: Problem, name: str) -> Task:
    return next(each for each in problem.tasks if each.id == name)


def hours(problem: Problem, name: str) -> Any:
    return next(each for each in problem.sites if each.name == name)
