"""Each arrow of docs/STATES.md, by its letter: what it needs, and what it leaves."""

from dataclasses import replace

import pytest

from relay.ledger.job_state import Claim, Job, Standing
from relay.ledger.job_words import (
    ClaimExtended,
    ClaimLapsed,
    ClaimReassigned,
    ClaimReleased,
    HandOnDeclined,
    HandOnOffered,
    HandOnTaken,
    InputsRenewed,
    JobClaimed,
    JobHandedIn,
    JobOpened,
    JobRestarted,
    JobWithdrawn,
    TryFailed,
    WorkCameLate,
)
from relay.model import FrameRange
from tests.unit.ledger.job_scene import (
    COORDINATOR,
    COPY,
    EDIT,
    GRADE,
    LATER,
    REELS,
    SCAN,
    SOON,
    Floor,
    arrow,
    floor,
    floor_after,
    receipt,
    refused,
)


@pytest.fixture
def told() -> Floor:
    """Every reel is scanned; copies and grades are open."""
    return floor_after("scan")


@pytest.fixture
def editing(told: Floor) -> Floor:
    """Lisbon holds the edit."""
    for reel in REELS:
        told.delivers(f"copy/{reel}", "kolkata")
    told.opens()
    told.claims(EDIT)
    return told


def fail(told: Floor, name: str, times: int) -> None:
    for _ in range(times):
        epoch = told.claims(name, lease=60)
        told.says("lisbon", TryFailed(job=name, epoch=epoch, said="no such codec"))


def lapse(told: Floor, name: str, times: int) -> None:
    for _ in range(times):
        epoch = told.claims(name, lease=60)
        told.says("kolkata", ClaimLapsed(job=name, epoch=epoch, silent=9999))


def redo_scan(told: Floor) -> str:
    """Return the scan of A/R01 and let a new one arrive; return the new version."""
    told.gives_back(SCAN)
    return told.delivers(SCAN)


def offer(told: Floor, to: str = "halifax", **more: object) -> int:
    told_more = {"done": "reel in order", "left": "the ending", **more}
    epoch = told.job(EDIT).claim.epoch
    return told.says("lisbon", HandOnOffered.model_validate({"job": EDIT, "epoch": epoch, "to": to, **told_more}))


@arrow("a")
def test_whoever_sees_first_what_the_route_asks_for_writes_it_down_exactly_so() -> None:
    told = floor()
    with refused("not due"):
        told.says("kolkata", JobOpened(job=GRADE, stage="grade", reel="A/R01"))
    entry = told.says("kolkata", JobOpened(job=SCAN, stage="scan", reel="A/R01"))
    job = told.job(SCAN)
    assert (job.standing, job.opened, job.inputs, job.frames, job.prefers) == (Standing.OPEN, entry, (), (), None)
    with refused("open already"):
        told.says("lisbon", JobOpened(job=SCAN, stage="scan", reel="A/R01"))


@arrow("b")
def test_the_coordinator_or_an_acceptor_asks_for_a_further_pass_on_some_frames(told: Floor) -> None:
    frames = (FrameRange(first=120, last=260),)
    asked = {"inputs": ("A/R01/v1",), "frames": frames, "prefers": "kolkata", "reason": "the pan flickers"}
    with refused("lisbon may not ask for more work at grade"):
        told.asks("grade/A/R01/2", "lisbon", **asked)
    with refused("is called grade/A/R01/2 now"):
        told.asks("grade/A/R01/3", **asked)
    with refused("takes A/R01/v9, which does not exist"):
        told.asks("grade/A/R01/2", inputs=("A/R01/v9",))
    told.asks("grade/A/R01/2", "halifax", **asked)
    told.asks("grade/A/R01/3", COORDINATOR)
    job = told.job("grade/A/R01/2")
    assert (job.frames, job.prefers, job.asked, job.standing) == (frames, "kolkata", "the pan flickers", Standing.OPEN)


@arrow("c")
def test_an_open_job_is_given_what_was_made_anew(told: Floor) -> None:
    fail(told, COPY, 1)
    with refused("does not give it these inputs"):
        told.says("kolkata", InputsRenewed(job=COPY, inputs=("A/R01/v1",)))
    new = redo_scan(told)
    assert told.job(COPY).stands_on_returned == ("A/R01/v1",)
    told.says("kolkata", InputsRenewed(job=COPY, inputs=(new,)))
    job = told.job(COPY)
    assert (job.inputs, job.stands_on_returned, job.failures, job.standing) == ((new,), (), 0, Standing.OPEN)


@arrow("d")
def test_a_job_that_stopped_on_a_bad_input_is_tried_again_with_the_new_one(told: Floor) -> None:
    fail(told, COPY, 2)
    new = redo_scan(told)
    told.says("kolkata", InputsRenewed(job=COPY, inputs=(new,)))
    job = told.job(COPY)
    assert (job.inputs, job.failures, job.standing) == ((new,), 0, Standing.OPEN)


@arrow("e")
def test_a_free_job_is_claimed_by_a_person_until_a_time_or_by_a_machine_for_a_lease(told: Floor) -> None:
    with refused("for a lease or until a time: one of the two"):
        told.claims(GRADE, lease=60, until=SOON)
    with refused("for a lease or until a time: one of the two"):
        told.says("lisbon", JobClaimed(job=GRADE))
    epoch = told.claims(GRADE, "lisbon")
    machine = told.claims(COPY, "kolkata", lease=60)
    held, other = told.job(GRADE).claim, told.job(COPY).claim
    assert (held.site, held.epoch, held.until, held.lease) == ("lisbon", epoch, SOON, None)
    assert (other.site, other.epoch, other.until, other.lease) == ("kolkata", machine, None, 60)
    with refused(f"cannot be claimed: it is lisbon's since entry {epoch}"):
        told.claims(GRADE, "kolkata")


@arrow("f")
def test_a_person_s_claim_is_extended_under_the_same_epoch_and_a_machine_s_is_not(editing: Floor) -> None:
    epoch = editing.job(EDIT).claim.epoch
    editing.says("lisbon", ClaimExtended(job=EDIT, epoch=epoch, until=LATER))
    assert editing.job(EDIT).claim.until == LATER
    assert editing.job(EDIT).claim.epoch == epoch
    machine = editing.claims(GRADE, lease=60)
    with refused("is a machine's: it is renewed by its signs of life"):
        editing.says("lisbon", ClaimExtended(job=GRADE, epoch=machine, until=LATER))


@arrow("g")
def test_the_holder_gives_a_job_back_and_it_is_free_for_all(editing: Floor) -> None:
    epoch = editing.job(EDIT).claim.epoch
    with refused("is lisbon's since"):
        editing.says("kolkata", ClaimReleased(job=EDIT, epoch=epoch))
    editing.says("lisbon", ClaimReleased(job=EDIT, epoch=epoch, reason="ill"))
    job = editing.job(EDIT)
    assert (job.standing, job.claim, job.reason, job.past[-1].epoch) == (Standing.OPEN, None, "ill", epoch)
    editing.claims(EDIT, "kolkata")


@arrow("h")
def test_a_machine_s_claim_lapses_by_anybody_s_word_and_a_person_s_by_nobody_s(told: Floor) -> None:
    epoch = told.claims(COPY, lease=60)
    told.says("kolkata", ClaimLapsed(job=COPY, epoch=epoch, silent=9999))
    job = told.job(COPY)
    assert (job.standing, job.claim, job.lapses, job.failures) == (Standing.OPEN, None, 1, 0)
    person = told.claims(GRADE)
    with refused("never lapses; the coordinator may reassign it"):
        told.says("kolkata", ClaimLapsed(job=GRADE, epoch=person, silent=9999))


@arrow("i")
def test_a_job_that_kills_its_workers_stops_though_none_of_them_can_say_so(told: Floor) -> None:
    lapse(told, COPY, 9)
    assert told.job(COPY).standing is Standing.OPEN
    lapse(told, COPY, 1)
    job = told.job(COPY)
    assert (job.standing, job.lapses, job.claim) == (Standing.STOPPED, 10, None)
    with refused("it is stopped"):
        told.claims(COPY, lease=60)


@arrow("j")
def test_the_coordinator_takes_a_job_from_its_holder_for_another_site(editing: Floor) -> None:
    epoch = editing.job(EDIT).claim.epoch
    word = ClaimReassigned(job=EDIT, epoch=epoch, to="kolkata", reason="no answer for three days")
    for site in ("lisbon", "halifax", "kolkata"):
        with refused("the coordinator may"):
            editing.says(site, word)
    editing.says(COORDINATOR, word)
    job = editing.job(EDIT)
    assert (job.standing, job.prefers, job.reason) == (Standing.OPEN, "kolkata", "no answer for three days")
    assert job.past[-1].site == "lisbon"
    with refused("is over: the job is open"):
        editing.hands_in(EDIT, "lisbon", epoch)


@arrow("k")
def test_an_offer_leaves_the_job_with_its_holder_until_the_other_site_says_yes(editing: Floor) -> None:
    entry = offer(editing, frames=[{"first": 0, "last": 99}], faults="a tear at 40")
    job = editing.job(EDIT)
    assert (job.standing, job.claim.site) == (Standing.CLAIMED, "lisbon")
    assert (job.offer.to, job.offer.entry, job.offer.left) == ("halifax", entry, "the ending")
    assert (job.offer.frames, job.offer.faults) == ((FrameRange(first=0, last=99),), "a tear at 40")
    offer(editing, "kolkata")
    assert editing.job(EDIT).offer.to == "kolkata"
    editing.hands_in(EDIT)
    assert editing.job(EDIT).offer is None


@arrow("l")
def test_the_asked_site_s_yes_moves_the_claim_and_makes_a_new_epoch(editing: Floor) -> None:
    old = editing.job(EDIT).claim.epoch
    offer(editing)
    with refused("offered to halifax, not to kolkata"):
        editing.says("kolkata", HandOnTaken(job=EDIT, epoch=old))
    new = editing.says("halifax", HandOnTaken(job=EDIT, epoch=old, until=LATER))
    job = editing.job(EDIT)
    assert (job.claim.site, job.claim.epoch, job.claim.until, job.offer) == ("halifax", new, LATER, None)
    assert ([each.to for each in job.hand_ons], [each.site for each in job.past]) == (["halifax"], ["lisbon"])
    with refused(f"the job is halifax's since entry {new}"):
        editing.hands_in(EDIT, "lisbon", old)
    editing.hands_in(EDIT, "halifax", new)


@arrow("m")
@pytest.mark.parametrize("site", ["halifax", "lisbon"])
def test_the_asked_site_says_no_or_the_holder_takes_the_offer_back(editing: Floor, site: str) -> None:
    held = editing.job(EDIT).claim
    offer(editing)
    word = HandOnDeclined(job=EDIT, epoch=held.epoch, reason="no hands tonight")
    with refused("offered to halifax, not to kolkata"):
        editing.says("kolkata", word)
    editing.says(site, word)
    assert (editing.job(EDIT).offer, editing.job(EDIT).claim) == (None, held)
    with refused("not offered to anybody"):
        editing.says("halifax", HandOnTaken(job=EDIT, epoch=held.epoch))


@arrow("n")
def test_a_failed_try_frees_the_job_and_keeps_what_was_said(told: Floor) -> None:
    fail(told, COPY, 1)
    job = told.job(COPY)
    assert (job.standing, job.failures, job.said, job.claim) == (Standing.OPEN, 1, "no such codec", None)


@arrow("o")
def test_the_last_try_that_the_stage_allows_stops_the_job(told: Floor) -> None:
    fail(told, COPY, 2)
    job = told.job(COPY)
    assert (job.standing, job.failures, job.said) == (Standing.STOPPED, 2, "no such codec")


@arrow("p")
def test_a_stopped_job_is_restarted_with_all_its_tries_before_it(told: Floor) -> None:
    lapse(told, COPY, 3)
    fail(told, COPY, 2)
    with refused("halifax may not restart"):
        told.says("halifax", JobRestarted(job=COPY, reason="codec installed"))
    told.says(COORDINATOR, JobRestarted(job=COPY, reason="codec installed"))
    job = told.job(COPY)
    assert (job.standing, job.failures, job.lapses, job.reason) == (Standing.OPEN, 0, 0, "codec installed")
    with refused("cannot be restarted: it is open"):
        told.says(COORDINATOR, JobRestarted(job=COPY, reason="again"))
    fail(told, COPY, 1)
    assert told.job(COPY).standing is Standing.OPEN


@arrow("q")
def test_the_holder_hands_in_a_version_that_the_same_entry_makes(told: Floor) -> None:
    epoch = told.claims(GRADE)
    made = told.next_version("A/R01")
    told.says("lisbon", made, JobHandedIn(job=GRADE, epoch=epoch, version=made.version, note="warm"))
    job = told.job(GRADE)
    assert (job.standing, job.outcome, job.holder, job.note) == (Standing.HANDED_IN, made.version, "lisbon", "warm")
    assert (job.claim, job.past[-1].epoch) == (None, epoch)


@arrow("r")
def test_late_work_of_a_former_holder_is_kept_and_changes_nothing(told: Floor) -> None:
    former = told.claims(GRADE, lease=60)
    told.says("kolkata", ClaimLapsed(job=GRADE, epoch=former, silent=9999))
    present = told.claims(GRADE, "kolkata")
    before = told.job(GRADE)
    made = told.next_version("A/R01")
    with refused("never held job"):
        told.says("lisbon", made, WorkCameLate(job=GRADE, epoch=present, version=made.version))
    with refused("never held job"):
        told.says("halifax", made, WorkCameLate(job=GRADE, epoch=former, version=made.version))
    told.says("lisbon", made, WorkCameLate(job=GRADE, epoch=former, version=made.version))
    assert told.job(GRADE) == replace(before, late=(made.version,))


@arrow("s")
def test_a_handed_in_version_is_accepted_once_it_has_arrived_whole(told: Floor) -> None:
    made = told.does(GRADE)
    with refused("not received whole by anybody yet"):
        told.accepts(GRADE)
    told.says("kolkata", receipt(made, whole=False))
    with refused("not received whole by anybody yet"):
        told.accepts(GRADE)
    told.says("kolkata", receipt(made))
    with refused("lisbon may not accept"):
        told.accepts(GRADE, "lisbon")
    told.accepts(GRADE, "halifax")
    assert (told.job(GRADE).standing, told.job(GRADE).outcome) == (Standing.ACCEPTED, made)


def came_back(told: Floor, made: str) -> None:
    entry = told.raws
    job = told.job(GRADE)
    assert (job.standing, job.outcome, job.prefers, job.reason) == (Standing.OPEN, None, "kolkata", "scratched")
    back = job.returns[-1]
    assert (back.version, back.by, back.reasons, back.entry) == (made, COORDINATOR, "scratched", len(entry) - 1)


@arrow("t")
def test_a_handed_in_version_is_returned_and_its_maker_asked_first(told: Floor) -> None:
    fail(told, GRADE, 1)
    made = told.does(GRADE, "kolkata")
    told.gives_back(GRADE)
    came_back(told, made)
    assert told.job(GRADE).failures == 0
    with refused("the outcome of job grade/A/R01/1 is not there yet"):
        told.accepts_version(GRADE, made)


@arrow("u")
def test_an_accepted_version_is_returned_too(told: Floor) -> None:
    made = told.delivers(GRADE, "kolkata")
    told.accepts(GRADE)
    told.gives_back(GRADE)
    came_back(told, made)


def as_open(told: Floor) -> None:
    assert told.job(GRADE).standing is Standing.OPEN


def as_claimed(told: Floor) -> None:
    told.claims(GRADE)


def as_handed_in(told: Floor) -> None:
    told.does(GRADE)


def as_stopped(told: Floor) -> None:
    fail(told, GRADE, 3)


@arrow("v")
@pytest.mark.parametrize("stand", [as_open, as_claimed, as_handed_in, as_stopped])
def test_the_coordinator_withdraws_what_is_not_over(told: Floor, stand) -> None:  # type: ignore[no-untyped-def]
    stand(told)
    held: Claim | None = told.job(GRADE).claim
    for site in ("halifax", "lisbon"):
        with refused(f"{site} may not withdraw"):
            told.says(site, JobWithdrawn(job=GRADE, reason="cut from the programme"))
    told.says(COORDINATOR, JobWithdrawn(job=GRADE, reason="cut from the programme"))
    job: Job = told.job(GRADE)
    assert (job.standing, job.claim, job.reason) == (Standing.WITHDRAWN, None, "cut from the programme")
    assert held is None or job.past[-1] == held
    with refused("withdrawn already"):
        told.says(COORDINATOR, JobWithdrawn(job=GRADE, reason="again"))
