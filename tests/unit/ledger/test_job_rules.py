import pytest

from relay.errors import BrokenError
from relay.ledger.job_words import ClaimLapsed, JobClaimed, JobHandedIn, JobOpened
from tests.unit.ledger.scene import Told, pen, version

JOB = "scan/A/R01/1"


@pytest.fixture
def told() -> Told:
    told = Told.founded()
    told.say(pen("oslo"), JobOpened(job=JOB, stage="scan", reel="A/R01"))
    return told


def claim(told: Told, site: str) -> int:
    return told.say(pen(site), JobClaimed(job=JOB, lease=600)).sequence


def hand_in(told: Told, site: str, epoch: int, number: int = 1) -> None:
    name = f"A/R01/v{number}"
    told.say(pen(site), version("A/R01", number), JobHandedIn(job=JOB, epoch=epoch, version=name))


def refused(match: str):  # type: ignore[no-untyped-def]
    return pytest.raises(BrokenError, match=match)


def test_a_job_is_opened_once_for_a_reel_and_inputs_that_exist(told: Told) -> None:
    with refused("open already"):
        told.say(pen("lisbon"), JobOpened(job=JOB, stage="scan", reel="A/R01"))
    with refused("reel C/R01, which the production does not have"):
        told.say(pen("lisbon"), JobOpened(job="scan/C/R01/1", stage="scan", reel="C/R01"))
    with refused("takes A/R01/v1, which does not exist"):
        told.say(pen("lisbon"), JobOpened(job="scan/A/R02/1", stage="scan", reel="A/R02", inputs=("A/R01/v1",)))


def test_a_job_is_one_site_s_at_a_time(told: Told) -> None:
    epoch = claim(told, "lisbon")
    for site in ("lisbon", "kolkata"):
        with refused(f"it is lisbon's since entry {epoch}"):
            claim(told, site)
    with refused("no job grade"):
        told.say(pen("lisbon"), JobClaimed(job="grade/A/R01/1", lease=600))


def test_the_holder_hands_in_and_nobody_else(told: Told) -> None:
    epoch = claim(told, "lisbon")
    with refused(f"is lisbon's since entry {epoch}, not kolkata's"):
        hand_in(told, "kolkata", epoch)
    hand_in(told, "lisbon", epoch)
    job = told.state.jobs[JOB]
    assert (job.outcome, job.claim) == ("A/R01/v1", None)
    with refused("it is handed in"):
        claim(told, "kolkata")
    with refused("is over: the job is"):
        hand_in(told, "lisbon", epoch, 2)


def test_work_of_a_former_holder_never_counts_not_even_at_the_same_site(told: Told) -> None:
    first = claim(told, "lisbon")
    told.say(pen("kolkata"), ClaimLapsed(job=JOB, epoch=first, silent=9999))
    with refused("is over: the job is"):
        hand_in(told, "lisbon", first)
    second = claim(told, "lisbon")
    with refused(f"the claim of entry {first} on job {JOB} is over"):
        hand_in(told, "lisbon", first)
    with refused(f"the claim of entry {first} on job {JOB} is over"):
        told.say(pen("kolkata"), ClaimLapsed(job=JOB, epoch=first, silent=9999))
    hand_in(told, "lisbon", second)


def test_an_epoch_that_is_yet_to_come_opens_nothing(told: Told) -> None:
    epoch = claim(told, "lisbon")
    for wrong in (epoch + 1, epoch + 2):
        with refused("is over"):
            hand_in(told, "lisbon", wrong)


def test_late_work_is_kept_as_a_version_without_the_job(told: Told) -> None:
    first = claim(told, "lisbon")
    told.say(pen("kolkata"), ClaimLapsed(job=JOB, epoch=first, silent=9999))
    told.say(pen("lisbon"), version("A/R01", 1, note="late"))
    assert told.state.jobs[JOB].outcome is None
    hand_in(told, "kolkata", claim(told, "kolkata"), 2)


def test_a_job_is_handed_in_with_a_version_of_its_reel_made_in_the_same_entry(told: Told) -> None:
    epoch = claim(told, "lisbon")
    told.say(pen("lisbon"), version("A/R01", 1))
    with refused("which this entry does not make"):
        told.say(pen("lisbon"), JobHandedIn(job=JOB, epoch=epoch, version="A/R01/v1"))
    with refused("which this entry does not make"):
        told.say(pen("lisbon"), JobHandedIn(job=JOB, epoch=epoch, version="A/R01/v2"), version("A/R01", 2))
    with refused("no version of it"):
        told.say(pen("lisbon"), version("B/R01", 1), JobHandedIn(job=JOB, epoch=epoch, version="B/R01/v1"))
    hand_in(told, "lisbon", epoch, 2)


def test_a_removed_site_hands_nothing_in_and_its_claim_can_lapse(told: Told) -> None:
    from relay.ledger.words import SiteRemoved

    epoch = claim(told, "lisbon")
    told.say(pen("oslo"), SiteRemoved(site="lisbon", reason="closed"))
    with refused("stopped counting"):
        hand_in(told, "lisbon", epoch)
    told.say(pen("kolkata"), ClaimLapsed(job=JOB, epoch=epoch, silent=9999))
    hand_in(told, "kolkata", claim(told, "kolkata"))
