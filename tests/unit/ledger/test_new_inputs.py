"""What people are told when a job is given new inputs, or when what they hold stands on work that came back."""

from datetime import timedelta

import pytest

from relay.ledger.lateness import is_late, warnings_of
from relay.ledger.notices import Notice, notices_for
from relay.ledger.owed import first_asked
from tests.unit.ledger.job_scene import SOON, Floor, floor, receipt

ROUTE = [{"name": "scan"}, {"name": "grade", "after": ["scan"], "claim_within_hours": 24}]
GRADE = "grade/A/R01/1"


@pytest.fixture
def told() -> Floor:
    """A reel was scanned by lisbon, and waits for somebody to grade it."""
    told = floor(stages=ROUTE, elements={"A": 1}, does={"halifax": [], "oslo": []})
    told.opens()
    told.delivers("scan/A/R01")
    told.opens()
    return told


def scanned_again(told: Floor) -> None:
    told.gives_back("scan/A/R01")
    told.delivers("scan/A/R01")


def of_kind(told: Floor, site: str, kind: str, now=SOON) -> list[Notice]:
    return [notice for notice in notices_for(told.state, site, now) if notice.kind == kind and GRADE in notice.name]


def test_whether_a_job_was_claimed_in_time_is_counted_from_when_it_was_given_what_it_takes(told: Floor) -> None:
    first = told.job(GRADE)
    late = first.since + timedelta(hours=24, seconds=1)
    assert not is_late(told.state, first, late - timedelta(seconds=1))
    assert is_late(told.state, first, late)
    scanned_again(told)
    assert told.opens() == [f"renewed {GRADE}"]
    anew = told.job(GRADE)
    assert (anew.since, anew.given > first.given) == (first.since, True)
    assert not is_late(told.state, anew, late)
    later = anew.given_at + timedelta(hours=24, seconds=1)
    assert is_late(told.state, anew, later)
    assert f"with new inputs since {anew.given_at:%Y-%m-%d %H:%M}" in warnings_of(told.state, anew, later)[0]


def test_that_new_inputs_arrived_is_told_though_the_first_ones_were_told_of(told: Floor) -> None:
    site = first_asked(told.state, told.job(GRADE))
    told.says(site, receipt("A/R01/v1"))
    [first] = of_kind(told, site, "arrived")
    scanned_again(told)
    told.opens()
    told.says(site, receipt("A/R01/v2"))
    [second] = of_kind(told, site, "arrived")
    assert first.name != second.name
    assert "A/R01/v2 has arrived whole" in second.text


def test_a_job_that_is_late_again_is_told_of_again(told: Floor) -> None:
    site, now = first_asked(told.state, told.job(GRADE)), SOON + timedelta(days=9)
    [first] = of_kind(told, site, "late", now)
    scanned_again(told)
    told.opens()
    [second] = of_kind(told, site, "late", now)
    assert first.name != second.name


def test_whoever_holds_a_job_is_told_when_what_it_was_begun_with_came_back(told: Floor) -> None:
    epoch = told.claims(GRADE, "kolkata")
    assert of_kind(told, "kolkata", "returned") == []
    scanned_again(told)
    assert told.opens() == [], "a claimed job keeps what it was claimed with"
    [notice] = of_kind(told, "kolkata", "returned")
    assert notice.name == f"returned {GRADE} {epoch} A/R01/v1"
    assert "A/R01/v1 was returned, and your job" in notice.text
    assert of_kind(told, "lisbon", "returned") == []
