"""Who receives what was handed in: whom the coordinator expects to go on with it, or one spread by reel."""

from datetime import timedelta
from typing import Any

import pytest

from relay.ledger import owed
from relay.ledger.job_words import SiteAsked, SiteExpected
from tests.unit.ledger.job_scene import COORDINATOR, LATER, SOON, Floor, floor, receipt

ROUTE: list[dict[str, Any]] = [
    {"name": "scan"},
    {"name": "copy", "after": ["scan"]},
    {"name": "grade", "after": ["scan"]},
    {"name": "conform", "after": ["grade"], "of": ["P/R01"]},
]
DOES = {COORDINATOR: [], "lisbon": ["scan", "grade", "conform"], "halifax": ["copy"], "kolkata": ["grade", "conform"]}
SCAN, GRADE, COPY = "scan/A/R01", "grade/A/R01/1", "copy/A/R01/1"


@pytest.fixture
def told() -> Floor:
    told = floor(stages=ROUTE, does=DOES, elements={"A": 3, "P": 1})
    told.opens()
    return told


def receivers(told: Floor, job: str = SCAN) -> set[str]:
    """Return who receives the job's outcome, as every site finds it, each from the ledger alone."""
    found = {owed.receiver_of(told.state, told.job(job))}
    outcome = told.job(job).outcome
    assert {site for site in DOES if outcome in owed.to_receive(told.state, site)} in (found, set())
    return found


def test_without_a_plan_receivers_are_spread_by_reel(told: Floor) -> None:
    for reel in ("A/R01", "A/R02", "A/R03"):
        told.does(f"scan/{reel}", "lisbon")
    assert [owed.receiver_of(told.state, told.job(f"scan/A/R0{number}")) for number in (1, 2, 3)] == [
        "halifax",
        "kolkata",
        "halifax",
    ]


def test_whoever_is_expected_to_go_on_receives(told: Floor) -> None:
    told.says(COORDINATOR, SiteExpected(job=GRADE, to="kolkata", begins=SOON, reason="as planned"))
    told.does(SCAN, "lisbon")
    assert receivers(told) == {"kolkata"}


def test_of_those_that_go_on_the_first_to_begin_receives(told: Floor) -> None:
    told.says(COORDINATOR, SiteExpected(job=GRADE, to="kolkata", begins=LATER, reason="as planned"))
    told.says(COORDINATOR, SiteExpected(job=COPY, to="halifax", begins=SOON, reason="as planned"))
    told.does(SCAN, "lisbon")
    assert receivers(told) == {"halifax"}
    told.says(COORDINATOR, SiteExpected(job=GRADE, to="kolkata", begins=SOON - timedelta(1), reason="as planned"))
    assert receivers(told) == {"kolkata"}


def test_what_a_person_said_comes_before_what_begins_first(told: Floor) -> None:
    told.says(COORDINATOR, SiteExpected(job=COPY, to="halifax", begins=SOON, reason="as planned"))
    told.says(COORDINATOR, SiteExpected(job=GRADE, to="kolkata", reason="they know this print"))
    told.does(SCAN, "lisbon")
    assert receivers(told) == {"kolkata"}


def test_another_than_the_maker_receives_though_the_maker_goes_on(told: Floor) -> None:
    told.says(COORDINATOR, SiteExpected(job=GRADE, to="lisbon", begins=SOON, reason="as planned"))
    told.does(SCAN, "lisbon")
    assert receivers(told) == {"halifax"}


def test_who_is_expected_and_was_removed_receives_nothing(told: Floor) -> None:
    told.says(COORDINATOR, SiteExpected(job=GRADE, to="kolkata", begins=SOON, reason="as planned"))
    told.does(SCAN, "lisbon")
    told.removes("kolkata")
    assert receivers(told) == {"halifax"}


def test_the_receiver_stays_when_the_job_that_follows_is_asked_of_another(told: Floor) -> None:
    told.says(COORDINATOR, SiteExpected(job=GRADE, to="kolkata", begins=SOON, reason="as planned"))
    made = told.does(SCAN, "lisbon")
    told.says("kolkata", receipt(made))
    told.opens()
    told.says(COORDINATOR, SiteAsked(job=GRADE, to="lisbon", reason="kolkata's grader is ill"))
    assert owed.receiver_of(told.state, told.job(SCAN)) == "kolkata"


def test_what_joins_is_received_where_the_join_is_expected(told: Floor) -> None:
    told.delivers(SCAN, "lisbon")
    told.opens()
    told.does(GRADE, "lisbon")
    assert owed.receiver_of(told.state, told.job(GRADE)) == "kolkata", "the only other that conforms"
    told.does("scan/A/R02", "lisbon")
    told.says(COORDINATOR, receipt(told.job("scan/A/R02").outcome or ""))
    told.opens()
    told.does("grade/A/R02", "kolkata")
    told.says(COORDINATOR, SiteExpected(job="conform/P/R01/1", to="lisbon", begins=SOON, reason="as planned"))
    assert receivers(told, "grade/A/R02") == {"lisbon"}
