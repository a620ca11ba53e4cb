"""What a hostile or confused site on the roster may try to say about jobs."""

from datetime import timedelta

import pytest
from pydantic import ValidationError

from relay.ledger import rules
from relay.ledger.entry import read_entry
from relay.ledger.job_words import (
    LONGEST_LEASE,
    ClaimExtended,
    ClaimLapsed,
    ClaimReassigned,
    ClaimReleased,
    HandOnDeclined,
    HandOnOffered,
    HandOnTaken,
    JobClaimed,
    JobHandedIn,
    JobOpened,
    JobWithdrawn,
    TryFailed,
    WorkCameLate,
)
from relay.ledger.words import SiteInvited, SiteJoined
from relay.model import FrameRange
from tests.unit.ledger.job_scene import (
    COORDINATOR,
    EDIT,
    GRADE,
    LATER,
    NOON,
    NOTE,
    SOON,
    STAGES,
    Floor,
    film,
    floor,
    floor_after,
    offered,
    receipt,
    refused,
)
from tests.unit.ledger.scene import SITES, pen


@pytest.fixture
def told() -> Floor:
    """The edit and the grades are open."""
    return floor_after("scan", "copy")


@pytest.mark.parametrize(
    "more",
    [
        {"frames": (FrameRange(first=0, last=0),)},
        {"prefers": "lisbon"},
        {"reason": "ours"},
        {"inputs": ("A/R01/v1",)},
    ],
)
def test_the_route_s_own_job_comes_with_nothing_of_the_one_who_writes_it_down(more: dict[str, object]) -> None:
    told = floor()
    told.says("kolkata", told.next_version("A/R01"))
    for site in ("lisbon", COORDINATOR):
        with refused("not due: the route does not ask for just this now"):
            told.asks("scan/A/R01/1", site, **more)


@pytest.mark.parametrize(
    ("job", "stage", "reel"),
    [
        ("conform/P/R01/1", "scan", "A/R01"),
        ("scan/A/R02/1", "scan", "A/R01"),
        ("scan/A/R01/02", "scan", "A/R01"),
        ("scan/A/R01/0", "scan", "A/R01"),
        ("scan/A/R01/4", "scan", "A/R01"),
        ("scan/A/R01/2/1", "scan", "A/R01"),
        ("rush", "scan", "A/R01"),
    ],
)
def test_nobody_takes_the_name_of_a_job_that_is_to_come(job: str, stage: str, reel: str) -> None:
    told = floor()
    for site in ("halifax", COORDINATOR):
        with refused("is called scan/A/R01/2 now"):
            told.says(site, JobOpened.model_validate({"job": job, "stage": stage, "reel": reel}))


def test_work_is_asked_for_on_a_reel_that_there_is_for_a_site_that_can_do_it(told: Floor) -> None:
    with refused("about reel C/R01, which the production does not have"):
        told.asks("scan/C/R01/2")
    with refused("no site bergen"):
        told.asks("scan/A/R01/2", prefers="bergen")
    told.removes("kolkata")
    with refused("kolkata is not on the roster"):
        told.asks("scan/A/R01/2", prefers="kolkata")


def test_an_acceptor_of_one_stage_says_nothing_about_another(told: Floor) -> None:
    told.delivers(EDIT, "kolkata")
    with refused("halifax may not accept"):
        told.accepts(EDIT, "halifax")
    with refused("halifax may not return"):
        told.gives_back(EDIT, "halifax")
    with refused("halifax may not ask for more work at edit"):
        told.asks("edit/P/R01/2", "halifax")


def test_an_acceptor_withdraws_what_was_asked_for_and_not_what_the_route_asks_for(told: Floor) -> None:
    again = told.asks("grade/A/R01/2", "halifax")
    with refused("lisbon may not withdraw"):
        told.says("lisbon", JobWithdrawn(job=again, reason="no"))
    told.says("halifax", JobWithdrawn(job=again, reason="a mistake"))
    with refused("which the route asks for: the coordinator may"):
        told.says("halifax", JobWithdrawn(job=GRADE, reason="a mistake"))


def test_nobody_claims_what_the_production_s_file_does_not_give_them() -> None:
    told = floor(does={"lisbon": ["copy"]})
    told.opens()
    with refused("lisbon does not do scan: the production's file gives it copy"):
        told.claims("scan/A/R01", "lisbon")


def test_no_claim_is_meant_for_longer_than_anyone_would_look_at(told: Floor) -> None:
    with pytest.raises(ValidationError, match="lease"):
        JobClaimed(job=GRADE, lease=LONGEST_LEASE + 1)
    far = NOON + timedelta(days=400)
    for until in (far, NOON - timedelta(days=400)):
        with refused("within 366 days"):
            told.claims(GRADE, until=until)
    epoch = told.claims(GRADE, until=SOON)
    with refused("within 366 days"):
        told.says("lisbon", ClaimExtended(job=GRADE, epoch=epoch, until=far))
    with refused("within 366 days"):
        offered(told, until=far)
    edit = told.job(EDIT).claim.epoch
    told.says("lisbon", HandOnOffered(job=EDIT, epoch=edit, to="halifax", **NOTE))
    with refused("within 366 days"):
        told.says("halifax", HandOnTaken(job=EDIT, epoch=edit, until=far))


@pytest.mark.parametrize("year", [1, 1999, 3000, 9999])
def test_a_clock_that_is_wrong_by_centuries_says_nothing_about_jobs(told: Floor, year: int) -> None:
    word = JobClaimed(job=GRADE, lease=60)
    entry = read_entry(told.written(pen("lisbon"), word, time=NOON.replace(year=year)), len(told.raws))
    with refused("lisbon's clock says"):
        rules.fold(told.state.draft(), entry)


@pytest.mark.parametrize("year", [2000, 2999])
def test_a_clock_that_is_wrong_by_less_decides_nothing(told: Floor, year: int) -> None:
    word = JobClaimed(job=GRADE, lease=60)
    draft = told.state.draft()
    rules.fold(draft, read_entry(told.written(pen("lisbon"), word, time=NOON.replace(year=year)), len(told.raws)))
    assert draft.jobs[GRADE].claim.site == "lisbon"


def test_one_entry_makes_no_two_claims_on_a_job(told: Floor) -> None:
    epoch = len(told.raws)
    first, back = JobClaimed(job=GRADE, lease=60), ClaimReleased(job=GRADE, epoch=epoch)
    with refused("claimed in this very entry"):
        told.says("lisbon", first, back, JobClaimed(job=GRADE, until=SOON))
    told.says("lisbon", first, back)
    told.claims(GRADE)


def test_an_epoch_that_never_was_or_is_yet_to_come_opens_nothing(told: Floor) -> None:
    epoch = told.claims(GRADE)
    for wrong in (1, epoch - 1, epoch + 1, epoch + 2):
        with refused(f"is over: the job is lisbon's since entry {epoch}"):
            told.hands_in(GRADE, "lisbon", wrong)


def test_a_claim_keeps_its_epoch_apart_from_an_earlier_one_of_the_same_site(told: Floor) -> None:
    first = told.claims(GRADE, lease=60)
    told.says("kolkata", ClaimLapsed(job=GRADE, epoch=first, silent=9999))
    second = told.claims(GRADE, lease=60)
    for word in (
        ClaimReleased(job=GRADE, epoch=first),
        ClaimLapsed(job=GRADE, epoch=first, silent=9999),
        ClaimReassigned(job=GRADE, epoch=first, reason="no"),
        TryFailed(job=GRADE, epoch=first, said="no"),
    ):
        with refused(f"the claim of entry {first} on job {GRADE} is over"):
            told.says(COORDINATOR, word)
    told.hands_in(GRADE, "lisbon", second)


def test_only_the_holder_says_that_it_gave_back_extended_or_failed(told: Floor) -> None:
    epoch = told.claims(GRADE)
    for word in (
        ClaimReleased(job=GRADE, epoch=epoch),
        ClaimExtended(job=GRADE, epoch=epoch, until=LATER),
        TryFailed(job=GRADE, epoch=epoch, said="no"),
    ):
        for site in (COORDINATOR, "kolkata"):
            with refused(f"is lisbon's since entry {epoch}, not {site}'s"):
                told.says(site, word)


def test_one_version_is_the_outcome_of_one_job(told: Floor) -> None:
    again = told.asks("grade/A/R01/2")
    one, two = told.claims(GRADE), told.claims(again)
    made = told.next_version("A/R01")
    first = JobHandedIn(job=GRADE, epoch=one, version=made.version)
    with refused(f"was sent for job {GRADE}"):
        told.says("lisbon", made, first, JobHandedIn(job=again, epoch=two, version=made.version))


def test_one_version_is_not_late_work_twice_nor_late_and_in_time(told: Floor) -> None:
    one = told.claims(GRADE, lease=60)
    told.says("kolkata", ClaimLapsed(job=GRADE, epoch=one, silent=9999))
    two = told.claims(GRADE, lease=60)
    made = told.next_version("A/R01")
    late = WorkCameLate(job=GRADE, epoch=one, version=made.version)
    with refused(f"was sent for job {GRADE}"):
        told.says("lisbon", made, late, late)
    with refused(f"was sent for job {GRADE}"):
        told.says("lisbon", made, late, JobHandedIn(job=GRADE, epoch=two, version=made.version))


def test_a_version_of_another_reel_or_another_entry_is_no_outcome(told: Floor) -> None:
    epoch = told.claims(GRADE)
    other = told.next_version("A/R02")
    with refused("about reel A/R01: A/R02/v3 is no version of it"):
        told.says("lisbon", other, JobHandedIn(job=GRADE, epoch=epoch, version=other.version))
    with refused("which this entry does not make"):
        told.says("lisbon", JobHandedIn(job=GRADE, epoch=epoch, version="A/R01/v1"))
    with refused("which this entry does not make"):
        made = told.next_version("A/R01")
        told.says("lisbon", JobHandedIn(job=GRADE, epoch=epoch, version=made.version), made)


def test_what_was_asked_for_is_not_forgotten_when_a_job_changes_hands(told: Floor) -> None:
    again = told.asks("grade/A/R01/2", reason="the pan flickers")
    epoch = told.claims(again)
    told.says("lisbon", ClaimReleased(job=again, epoch=epoch))
    assert (told.job(again).asked, told.job(again).reason) == ("the pan flickers", "")


def test_what_the_holder_said_is_not_forgotten_when_the_work_is_accepted(told: Floor) -> None:
    epoch = told.claims(GRADE)
    made = told.next_version("A/R01")
    told.says("lisbon", made, JobHandedIn(job=GRADE, epoch=epoch, version=made.version, note="two lights in reel 3"))
    told.says("kolkata", receipt(made.version))
    told.accepts(GRADE)
    assert told.job(GRADE).note == "two lights in reel 3"


def test_an_offer_goes_to_another_site_that_can_take_it_and_names_work_on_this_reel(told: Floor) -> None:
    told.revises(film(does={"kolkata": ["grade"]}))
    told.removes("halifax")
    epoch = told.claims(EDIT)

    def offer(**more: object) -> None:
        told.says("lisbon", HandOnOffered.model_validate({"job": EDIT, "epoch": epoch, "to": "oslo", **NOTE, **more}))

    with refused("is lisbon's already"):
        offer(to="lisbon")
    with refused("kolkata does not do edit"):
        offer(to="kolkata")
    with refused("halifax is not on the roster"):
        offer(to="halifax")
    with refused("no site bergen"):
        offer(to="bergen")
    with refused("takes P/R01/v1, which does not exist"):
        offer(version="P/R01/v1")
    with refused("A/R01/v1 is no version of it"):
        offer(version="A/R01/v1")
    offer()


def test_work_stays_where_it_was_begun_unless_the_route_lets_it_move(told: Floor) -> None:
    epoch = told.claims(GRADE)
    with refused("work at grade stays where it was begun"):
        told.says("lisbon", HandOnOffered(job=GRADE, epoch=epoch, to="kolkata", **NOTE))


def test_a_machine_s_claim_is_given_back_and_not_handed_on(told: Floor) -> None:
    epoch = told.claims(EDIT, lease=60)
    with refused("is a machine's: it is given back, not handed on"):
        told.says("lisbon", HandOnOffered(job=EDIT, epoch=epoch, to="halifax", **NOTE))


def test_a_hand_on_always_has_a_time_the_taker_s_the_offer_s_or_the_former_holder_s(told: Floor) -> None:
    until = {}
    for name, offers, takes in (("offer", LATER, None), ("taker", None, LATER), ("former", None, None)):
        epoch = offered(told, until=offers)
        new = told.says("halifax", HandOnTaken(job=EDIT, epoch=epoch, until=takes))
        until[name] = told.job(EDIT).claim.until
        told.says("halifax", ClaimReleased(job=EDIT, epoch=new))
    assert until == {"offer": LATER, "taker": LATER, "former": SOON}


def test_the_coordinator_reassigns_what_a_removed_site_holds_and_the_site_cannot_be_given_anything(told: Floor) -> None:
    epoch = told.claims(EDIT)
    told.removes("lisbon")
    assert told.job(EDIT).claim.site == "lisbon"
    with refused("lisbon is not on the roster"):
        told.says(COORDINATOR, ClaimReassigned(job=EDIT, epoch=epoch, to="lisbon", reason="closed"))
    told.says(COORDINATOR, ClaimReassigned(job=EDIT, epoch=epoch, to="kolkata", reason="closed"))
    told.does(EDIT, "kolkata")


def test_the_coordinator_reassigns_what_is_held_by_a_site_that_is_in_the_file_no_more(told: Floor) -> None:
    epoch = told.claims(EDIT, "halifax")
    told.removes("halifax")
    stages = [{**stage, "accepted_by": []} for stage in STAGES]
    told.revises(film(stages, sites=tuple(site for site in SITES if site != "halifax")))
    told.says(COORDINATOR, ClaimReassigned(job=EDIT, epoch=epoch, reason="closed"))
    told.does(EDIT, "kolkata")


def test_what_a_removed_site_offered_can_still_be_taken_and_what_was_offered_to_one_taken_back(told: Floor) -> None:
    epoch = offered(told, "halifax")
    told.removes("lisbon")
    told.says("halifax", HandOnTaken(job=EDIT, epoch=epoch))
    held = told.job(EDIT).claim
    told.says("halifax", HandOnOffered(job=EDIT, epoch=held.epoch, to="kolkata", **NOTE))
    told.removes("kolkata")
    told.says("halifax", HandOnDeclined(job=EDIT, epoch=held.epoch, reason="they closed"))
    told.hands_in(EDIT, "halifax")


def test_a_machine_s_claim_of_a_removed_site_lapses_like_any_other(told: Floor) -> None:
    epoch = told.claims(GRADE, lease=60)
    told.removes("lisbon")
    told.says("kolkata", ClaimLapsed(job=GRADE, epoch=epoch, silent=9999))
    told.does(GRADE, "kolkata")


def test_a_site_that_comes_back_under_its_name_finds_its_claim(told: Floor) -> None:
    epoch = told.claims(EDIT)
    told.removes("lisbon")
    told.says(COORDINATOR, SiteInvited(site="lisbon", invitation=pen("lisbon", "again").public))
    told.say(pen("lisbon", "again"), SiteJoined(site="lisbon", key=pen("lisbon", "new").public))
    made = told.next_version("P/R01")
    told.say(pen("lisbon", "new"), made, JobHandedIn(job=EDIT, epoch=epoch, version=made.version))
    assert told.job(EDIT).holder == "lisbon"


def test_an_acceptor_does_not_accept_its_own_work_and_the_coordinator_may(told: Floor) -> None:
    mine = told.delivers(GRADE, "halifax")
    with refused("halifax made A/R01/v[0-9]+ and may not accept its own work"):
        told.accepts_version(GRADE, mine, "halifax")
    told.gives_back(GRADE, "halifax")
    told.delivers(GRADE, COORDINATOR)
    told.says("kolkata", receipt(told.job(GRADE).outcome))
    told.accepts(GRADE, COORDINATOR)


def test_an_acceptor_accepts_what_another_site_made(told: Floor) -> None:
    told.delivers(GRADE, "lisbon")
    told.accepts(GRADE, "halifax")
