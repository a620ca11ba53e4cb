"""What two sites say about one job at once: one of them is first, and the other is told."""

import pytest

from relay.ledger.job_state import Standing
from relay.ledger.job_words import (
    ClaimLapsed,
    HandOnTaken,
    JobOpened,
    JobWithdrawn,
    WorkCameLate,
)
from tests.unit.ledger.job_scene import COORDINATOR, EDIT, GRADE, Floor, floor, floor_after, offered, refused


@pytest.fixture
def told() -> Floor:
    """The edit and the grades are open."""
    return floor_after("scan", "copy")


def test_of_two_claims_at_once_one_wins_and_the_other_is_told_who(told: Floor) -> None:
    epoch = told.claims(GRADE, "lisbon")
    with refused(f"is lisbon's since entry {epoch}"):
        told.claims(GRADE, "kolkata")


def test_accepting_after_a_return_is_refused_and_returning_after_an_acceptance_is_not(told: Floor) -> None:
    made = told.delivers(GRADE)
    told.gives_back(GRADE, "halifax")
    with refused("the outcome of job grade/A/R01/1 is not there yet"):
        told.accepts_version(GRADE, made)
    told.delivers(GRADE)
    with refused(f"not {made}"):
        told.accepts_version(GRADE, made)
    told.accepts(GRADE)
    told.gives_back(GRADE, "halifax")
    assert told.job(GRADE).standing is Standing.OPEN


def test_handing_in_and_taking_a_hand_on_at_once_leaves_one_of_them(told: Floor) -> None:
    epoch = offered(told)
    told.hands_in(EDIT, "lisbon", epoch)
    with refused("is over: the job is handed in"):
        told.says("halifax", HandOnTaken(job=EDIT, epoch=epoch))
    told.gives_back(EDIT)
    epoch = offered(told)
    told.says("halifax", HandOnTaken(job=EDIT, epoch=epoch))
    with refused("is halifax's since"):
        told.hands_in(EDIT, "lisbon", epoch)
    made = told.next_version("P/R01")
    told.says("lisbon", made, WorkCameLate(job=EDIT, epoch=epoch, version=made.version))
    assert told.job(EDIT).late == (made.version,)


def test_handing_in_after_a_withdrawal_is_refused_and_the_work_is_kept_as_late(told: Floor) -> None:
    epoch = told.claims(GRADE)
    told.says(COORDINATOR, JobWithdrawn(job=GRADE, reason="cut"))
    with refused("is over: the job is withdrawn"):
        told.hands_in(GRADE, "lisbon", epoch)
    made = told.next_version("A/R01")
    told.says("lisbon", made, WorkCameLate(job=GRADE, epoch=epoch, version=made.version))
    assert told.job(GRADE).late == (made.version,)


def test_a_withdrawn_outcome_is_neither_returned_nor_accepted_any_more(told: Floor) -> None:
    made = told.delivers(GRADE)
    told.says(COORDINATOR, JobWithdrawn(job=GRADE, reason="cut"))
    with refused("cannot be returned: it is withdrawn"):
        told.gives_back(GRADE)
    with refused("cannot be accepted: it is withdrawn"):
        told.accepts_version(GRADE, made)


def test_what_is_due_is_written_down_by_one_of_two_who_see_it_at_once() -> None:
    told = floor()
    told.says("lisbon", JobOpened(job="scan/A/R01/1", stage="scan", reel="A/R01"))
    with refused("open already"):
        told.says("kolkata", JobOpened(job="scan/A/R01/1", stage="scan", reel="A/R01"))


def test_a_claim_lapses_only_after_more_silence_than_its_lease(told: Floor) -> None:
    epoch = told.claims(GRADE, lease=60)
    for silent in (1, 59, 60):
        with refused(rf"was silent for {silent} s by the store's clock, and its lease is 60 s"):
            told.says("kolkata", ClaimLapsed(job=GRADE, epoch=epoch, silent=silent))
    told.says("kolkata", ClaimLapsed(job=GRADE, epoch=epoch, silent=61))
