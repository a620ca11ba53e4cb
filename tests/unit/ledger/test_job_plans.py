"""The arrows of docs/STATES.md that a plan writes down: who is asked first, and who is expected."""

import pytest

from relay.ledger import route
from relay.ledger.job_state import Standing
from relay.ledger.job_words import (
    ClaimReleased,
    SiteAsked,
    SiteExpected,
)
from tests.unit.ledger.job_scene import COORDINATOR, GRADE, SOON, Floor, arrow, floor, floor_after, refused


@pytest.fixture
def told() -> Floor:
    """Every reel is scanned; copies and grades are open."""
    return floor_after("scan")


@arrow("w")
def test_the_coordinator_asks_a_site_first_for_an_open_job_and_says_why(told: Floor) -> None:
    planned = SiteAsked(job=GRADE, to="kolkata", begins=SOON, reason="it is awake then and has the shortest line")
    for site in ("halifax", "lisbon", "kolkata"):
        with refused("may not say who is asked first"):
            told.says(site, planned)
    told.says(COORDINATOR, planned)
    job = told.job(GRADE)
    assert (job.standing, job.prefers, job.begins) == (Standing.OPEN, "kolkata", SOON)
    assert job.reason == "it is awake then and has the shortest line"

    told.says(COORDINATOR, SiteAsked(job=GRADE, to="lisbon", reason="Kolkata's grader is ill"))
    assert (told.job(GRADE).prefers, told.job(GRADE).begins) == ("lisbon", None)
    told.claims(GRADE, "kolkata")  # it is no right: whoever does the stage may claim
    with refused("cannot be asked of a site: it is kolkata's"):
        told.says(COORDINATOR, planned)


@arrow("x")
def test_the_coordinator_expects_a_site_to_go_on_with_a_job_that_is_still_to_open() -> None:
    told = floor()
    told.opens()
    planned = SiteExpected(job="grade/B/R01/1", to="kolkata", begins=SOON, reason="its day begins then")
    for site in ("halifax", "lisbon", "kolkata"):
        with refused("may not say who is expected"):
            told.says(site, planned)
    with refused("the route has no such stage and reel"):
        told.says(COORDINATOR, SiteExpected(job="grade/B/R77/1", to="kolkata", reason="as planned"))
    with refused("the route has no such stage and reel"):
        told.says(COORDINATOR, SiteExpected(job="grade/B/R01/2", to="kolkata", reason="as planned"))
    with refused("the production has no site nowhere"):
        told.says(COORDINATOR, SiteExpected(job="grade/B/R01/1", to="nowhere", reason="as planned"))
    told.says(COORDINATOR, planned)
    assert "grade/B/R01/1" not in told.state.jobs

    told.delivers("scan/B/R01")
    told.opens()
    job = told.job("grade/B/R01")
    assert (job.prefers, job.begins, job.reason) == ("kolkata", SOON, "its day begins then")
    with refused("is open already"):
        told.says(COORDINATOR, planned)


def test_whoever_is_expected_and_is_gone_when_the_job_opens_is_not_asked() -> None:
    told = floor()
    told.opens()
    told.says(COORDINATOR, SiteExpected(job="grade/B/R01/1", to="kolkata", begins=SOON, reason="as planned"))
    told.removes("kolkata")
    told.delivers("scan/B/R01")
    told.says(COORDINATOR, *route.due(told.state))
    assert (told.job("grade/B/R01").prefers, told.job("grade/B/R01").begins) == (None, None)


def test_what_was_planned_ends_with_the_job_s_standing(told: Floor) -> None:
    told.says(COORDINATOR, SiteAsked(job=GRADE, to="kolkata", begins=SOON, reason="as planned"))
    epoch = told.claims(GRADE, "kolkata")
    told.says("kolkata", ClaimReleased(job=GRADE, epoch=epoch, reason="the lamp broke"))
    assert (told.job(GRADE).prefers, told.job(GRADE).begins) == (None, None), "it is planned anew"
    told.does(GRADE, "kolkata")
    told.gives_back(GRADE)
    assert (told.job(GRADE).prefers, told.job(GRADE).begins) == ("kolkata", None)
