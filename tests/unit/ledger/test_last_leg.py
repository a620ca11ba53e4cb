"""The delivery to the venue: who receives it, who accepts it, and by when before the premiere."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from pydantic import ValidationError

from relay.ledger import lateness, owed, route
from relay.ledger.job_state import Standing
from relay.ledger.job_words import JobWithdrawn
from relay.ledger.notices import notices_for
from relay.model import Premiere, Production
from tests.unit.ledger.job_scene import Floor, film, floor, receipt, refused
from tests.unit.ledger.scene import COORDINATOR

DELIVER = "deliver/P/R01/1"
VENUE = "kolkata"
ROUTE: list[dict[str, Any]] = [
    {"name": "grade", "of": ["P/R01"]},
    {
        "name": "deliver",
        "after": ["grade"],
        "received_by": VENUE,
        "accepted_by": [VENUE],
        "due_days_before_premiere": 10,
    },
]
DOES = {"lisbon": ["grade", "deliver"], "halifax": ["grade"], VENUE: [], COORDINATOR: []}
# The premiere is on 24 October 2026 at 20:00 in Oslo: summer time, two hours ahead of UTC, in tzdata.
DUE = datetime(2026, 10, 14, 18, tzinfo=UTC)
BEFORE = DUE - timedelta(days=30)


@pytest.fixture
def told() -> Floor:
    told = floor(stages=ROUTE, does=DOES, elements={"P": 1})
    told.opens()
    return told


def delivered(told: Floor) -> str:
    """Let the grade be received, and the package be handed in."""
    told.delivers("grade/P/R01")
    told.opens()
    return told.does(DELIVER)


def names(told: Floor, site: str, now: datetime) -> list[str]:
    return [f"{each.kind} {each.name}" for each in notices_for(told.state, site, now)]


def test_the_due_time_is_the_premiere_s_hour_on_the_venue_s_clocks() -> None:
    # tzdata, Europe/Oslo: summer time ends on Sunday 25 October 2026. A true ten times 24 hours would say 19:00.
    premiere = Premiere(at=datetime(2026, 11, 1, 20), zone="Europe/Oslo", venue="hall")  # noqa: DTZ001  the venue's own
    assert premiere.instant() == datetime(2026, 11, 1, 19, tzinfo=UTC)
    assert premiere.days_before(10) == datetime(2026, 10, 22, 18, tzinfo=UTC)


def test_a_delivery_is_received_by_the_venue_though_another_site_could(told: Floor) -> None:
    made = delivered(told)
    assert owed.to_receive(told.state, VENUE) == [made]
    assert owed.to_receive(told.state, COORDINATOR) == []


def test_a_delivery_that_the_venue_found_damaged_later_is_not_accepted_on_its_first_receipt(told: Floor) -> None:
    made = delivered(told)
    told.says(VENUE, receipt(made))
    told.says(VENUE, receipt(made, whole=False))
    with refused("not received whole by kolkata yet"):
        told.accepts(DELIVER, VENUE)
    told.says(VENUE, receipt(made))
    told.accepts(DELIVER, VENUE)


def test_a_delivery_is_accepted_only_after_the_venue_s_own_receipt(told: Floor) -> None:
    made = delivered(told)
    told.says(COORDINATOR, receipt(made))
    assert route.has_arrived(told.state, made)
    with refused("not received whole by kolkata yet"):
        told.accepts(DELIVER)
    told.says(VENUE, receipt(made, whole=False))
    with refused("not received whole by kolkata yet"):
        told.accepts(DELIVER, VENUE)
    told.says(VENUE, receipt(made))
    told.accepts(DELIVER, VENUE)
    assert told.job(DELIVER).standing is Standing.ACCEPTED


def test_what_comes_after_a_named_receiver_waits_for_its_receipt() -> None:
    after: list[dict[str, Any]] = [{"name": "grade", "of": ["P/R01"], "received_by": VENUE}, {**ROUTE[1]}]
    told = floor(stages=after, does=DOES, elements={"P": 1})
    told.opens()
    made = told.delivers("grade/P/R01")
    assert told.opens() == []
    told.says(VENUE, receipt(made))
    assert told.opens() == [f"opened {DELIVER}"]


def test_a_delivery_whose_venue_has_not_joined_goes_to_the_coordinator_and_is_not_accepted(told: Floor) -> None:
    made = delivered(told)
    told.removes(VENUE)
    assert owed.receiver_of(told.state, told.job(DELIVER)) == COORDINATOR
    told.says(COORDINATOR, receipt(made))
    with refused("not received whole by kolkata yet"):
        told.accepts(DELIVER)


def test_the_venue_is_told_when_a_package_waits_for_its_check_screening(told: Floor) -> None:
    made = delivered(told)
    assert names(told, VENUE, BEFORE) == []
    assert "on its way to kolkata" in lateness.warnings_of(told.state, told.job(DELIVER), BEFORE)
    told.says(VENUE, receipt(made))
    assert names(told, VENUE, BEFORE) == [f"arrived to accept {DELIVER} {made}"]
    assert "by 2026-10-14 18:00 UTC" in notices_for(told.state, VENUE, BEFORE)[0].text
    assert "waits for the word of kolkata" in lateness.warnings_of(told.state, told.job(DELIVER), BEFORE)


def test_a_delivery_that_fails_its_check_screening_goes_back_to_its_maker(told: Floor) -> None:
    made = delivered(told)
    told.says(VENUE, receipt(made))
    told.gives_back(DELIVER, VENUE)
    assert (told.job(DELIVER).standing, told.job(DELIVER).prefers) == (Standing.OPEN, "lisbon")
    again = told.does(DELIVER)
    assert owed.to_receive(told.state, VENUE) == [again]


@pytest.mark.parametrize(
    ("now", "is_late", "kinds"),
    [
        (DUE - timedelta(days=7, seconds=1), False, []),
        (DUE - timedelta(days=7), False, ["due"]),
        (DUE, False, ["due"]),
        (DUE + timedelta(seconds=1), True, ["late"]),
    ],
)
def test_a_job_is_due_for_a_week_and_late_from_the_second_after(
    told: Floor, now: datetime, is_late: bool, kinds: list[str]
) -> None:
    told.says(VENUE, receipt(delivered(told)))
    assert lateness.is_late(told.state, told.job(DELIVER), now) == is_late
    notices = [each for each in notices_for(told.state, COORDINATOR, now) if DELIVER in each.name]
    assert [each.kind for each in notices] == kinds


def test_an_accepted_job_is_never_late(told: Floor) -> None:
    told.says(VENUE, receipt(delivered(told)))
    told.accepts(DELIVER, VENUE)
    assert not lateness.is_late(told.state, told.job(DELIVER), DUE + timedelta(days=1))


def test_a_job_that_cannot_be_opened_yet_is_late_all_the_same(told: Floor) -> None:
    assert lateness.not_open_yet(told.state, DUE - timedelta(days=8)) == []
    (waiting,) = lateness.not_open_yet(told.state, DUE + timedelta(seconds=1))
    assert (waiting.job, waiting.due) == (DELIVER, DUE)
    assert f"late overdue {DELIVER} 2026-10-14" in names(told, COORDINATOR, DUE + timedelta(seconds=1))
    told.says(COORDINATOR, JobWithdrawn(job="grade/P/R01/1", reason="not wanted"))
    assert lateness.not_open_yet(told.state, DUE + timedelta(seconds=1)) == []


def test_a_claim_that_is_meant_until_after_the_due_time_is_pointed_out(told: Floor) -> None:
    told.delivers("grade/P/R01")
    told.opens()
    told.claims(DELIVER, until=DUE + timedelta(days=1))
    assert lateness.warnings_of(told.state, told.job(DELIVER), BEFORE) == (
        "meant until 2026-10-15 18:00 UTC, but due 2026-10-14 18:00 UTC",
    )


@pytest.mark.parametrize(("receiver", "said"), [("bergen", "none of the sites"), ("lisbon", "which does it")])
def test_a_production_whose_receiver_cannot_receive_is_refused(receiver: str, said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        film(stages=[ROUTE[0], {**ROUTE[1], "received_by": receiver}], does=DOES, elements={"P": 1})


def test_a_stage_says_nothing_of_receivers_and_dates_unless_it_is_told() -> None:
    plain: Production = film()
    assert {(stage.received_by, plain.due(stage)) for stage in plain.route} == {(None, None)}
