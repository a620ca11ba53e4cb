"""For which job a package is that comes when nobody here holds one: the last that was left undone, or none."""

import pytest

from relay.ledger.job_words import ClaimLapsed, ClaimReassigned, ClaimReleased, WorkCameLate
from tests.unit.ledger.job_scene import GRADE, SCAN, Floor, floor_after
from tests.unit.ledger.scene import COORDINATOR
from workers.to_send import job_of


@pytest.fixture
def floor() -> Floor:
    return floor_after()


def job(floor: Floor, site: str = "lisbon") -> str | None:
    return job_of(floor.state, "A/R01", site)


def goes_elsewhere(floor: Floor, name: str) -> None:
    floor.says(COORDINATOR, ClaimReassigned(job=name, epoch=floor.job(name).claim.epoch, reason="ill"))


def test_what_a_site_gave_back_is_still_its_to_send(floor):
    floor.claims(SCAN)
    floor.says("lisbon", ClaimReleased(job=SCAN, epoch=floor.job(SCAN).claim.epoch))
    assert job(floor) == SCAN
    assert job(floor, "halifax") is None


def test_what_was_handed_in_is_done_and_a_further_package_is_for_no_job(floor):
    floor.does(SCAN)
    assert job(floor) is None


def test_what_another_site_did_meanwhile_does_not_answer_for_this_one(floor):
    floor.claims(SCAN)
    goes_elsewhere(floor, SCAN)
    floor.does(SCAN, "halifax")
    assert job(floor) == SCAN


def test_what_came_late_once_is_answered_though_the_job_is_open_again(floor):
    epoch = floor.claims(SCAN)
    goes_elsewhere(floor, SCAN)
    taken = floor.claims(SCAN, "halifax")
    made = floor.next_version("A/R01")
    floor.says("lisbon", made, WorkCameLate(job=SCAN, epoch=epoch, version=made.version))
    floor.says("halifax", ClaimReleased(job=SCAN, epoch=taken))
    assert job(floor) is None


def test_what_was_sent_by_an_earlier_claim_does_not_answer_for_a_later_one(floor):
    floor.does(SCAN)
    floor.gives_back(SCAN)
    floor.claims(SCAN)
    goes_elsewhere(floor, SCAN)
    floor.does(SCAN, "halifax")
    assert job(floor) == SCAN


def test_of_two_jobs_left_undone_the_package_is_for_the_last(floor):
    for name in (SCAN, GRADE):
        floor.claims(name)
        goes_elsewhere(floor, name)
        floor.delivers(name, "halifax")
        floor.opens()
    assert job(floor) == GRADE


def test_what_a_machine_of_the_site_left_undone_is_nothing_that_people_send(floor):
    epoch = floor.claims(SCAN, lease=600)
    floor.says("halifax", ClaimLapsed(job=SCAN, epoch=epoch, silent=601))
    assert job(floor) is None
