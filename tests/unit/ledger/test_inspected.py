"""What an inspection means for acceptance: asked for where the stage says so, heeded unless a person says why not."""

import pytest

from relay.ledger import owed
from relay.ledger.job_words import JobAccepted
from relay.ledger.state import State
from relay.ledger.telling import telling
from relay.ledger.words import VersionInspected, VersionNotInspected
from relay.model import digest_of
from tests.unit.ledger.job_scene import COORDINATOR, Floor, floor, receipt, refused
from tests.unit.ledger.scene import version

SCAN = "scan/A/R01"
REPORT = digest_of(b"report")


@pytest.fixture
def told() -> Floor:
    stages = [{"name": "scan", "inspected": True}, {"name": "grade", "after": ["scan"]}]
    told = floor(stages=stages, elements={"A": 1})
    told.opens()
    return told


def looked(name: str, blocking: int = 0, report: str = REPORT) -> VersionInspected:
    reel, _, number = name.rpartition("/v")
    made = version(reel, int(number))
    return VersionInspected(version=name, manifest=made.manifest, report=report, blocking=blocking, warning=1)


def test_nothing_is_accepted_before_somebody_looked_at_it(told: Floor) -> None:
    made = told.delivers(SCAN)
    with refused("nobody looked at A/R01/v1 yet"):
        told.accepts(SCAN)
    told.says("kolkata", looked(made))
    told.accepts(SCAN)


def not_looked(name: str) -> VersionNotInspected:
    return VersionNotInspected(version=name, manifest=looked(name).manifest, why="no libraries there")


def test_why_nobody_looked_is_told_and_a_person_may_accept_with_a_reason(told: Floor) -> None:
    made = told.delivers(SCAN)
    told.says("kolkata", not_looked(made))
    with refused("entry [0-9]+, kolkata, says 'no libraries there'"):
        told.accepts(SCAN)
    job = told.job(SCAN).job
    with refused("say in --note why"):
        told.says(COORDINATOR, JobAccepted(job=job, version=made, unseen=True))
    accepted = JobAccepted(job=job, version=made, note="looked through on the bench", unseen=True)
    told.says(COORDINATOR, accepted)
    assert told.job(SCAN).reason == "looked through on the bench"
    assert telling(accepted).endswith("which nobody looked at (looked through on the bench)")


def test_unseen_is_no_way_past_what_somebody_saw(told: Floor) -> None:
    made = told.delivers(SCAN)
    told.says("kolkata", not_looked(made))
    told.says("kolkata", looked(made, blocking=2))
    with refused("blocks A/R01/v1, by 2 of what was found"):
        told.says(COORDINATOR, JobAccepted(job=told.job(SCAN).job, version=made, note="fine", unseen=True))


def test_a_site_gives_its_reason_once_and_owes_the_look_all_the_same(told: Floor) -> None:
    made = told.does(SCAN, "lisbon")
    receiver = owed.receiver_of(told.state, told.job(SCAN))
    told.says(receiver, receipt(made))
    assert owed.to_say_unseen(told.state, receiver) == [made]
    told.says(receiver, not_looked(made))
    assert owed.to_say_unseen(told.state, receiver) == []
    assert owed.to_inspect(told.state, receiver) == [made]


def test_a_stage_that_does_not_ask_for_it_is_accepted_unseen(told: Floor) -> None:
    told.delivers(SCAN)
    told.opens()
    told.delivers("grade/A/R01")
    told.accepts("grade/A/R01")


def test_what_blocks_is_accepted_only_by_naming_the_report_and_a_reason(told: Floor) -> None:
    made = told.delivers(SCAN)
    told.says("kolkata", looked(made, blocking=2))
    job = told.job(SCAN).job
    with refused("blocks A/R01/v1, by 2 of what was found"):
        told.accepts(SCAN)
    with refused("blocks A/R01/v1, by 2 of what was found"):
        told.says(COORDINATOR, JobAccepted(job=job, version=made, note="fine", despite=digest_of(b"another")))
    with refused("say in --note why"):
        told.says(COORDINATOR, JobAccepted(job=job, version=made, note=" ", despite=REPORT))
    told.says(COORDINATOR, JobAccepted(job=job, version=made, note="the leader is meant to stand", despite=REPORT))
    assert told.job(SCAN).reason == "the leader is meant to stand"


def test_the_newest_inspection_counts(told: Floor) -> None:
    made = told.delivers(SCAN)
    told.says("kolkata", looked(made, blocking=2))
    told.says("halifax", looked(made, blocking=0, report=digest_of(b"with other rules")))
    told.accepts(SCAN)


def test_an_inspection_is_about_the_manifest_that_the_version_has(told: Floor) -> None:
    made = told.delivers(SCAN)
    wrong = looked(made).model_copy(update={"manifest": digest_of(b"another")})
    with refused("another manifest"):
        told.says("kolkata", wrong)
    with refused("another manifest"):
        told.says("kolkata", not_looked(made).model_copy(update={"manifest": digest_of(b"another")}))


def owing(state: State) -> set[str]:
    return {site.name for site in state.film().sites if owed.to_inspect(state, site.name)}


def test_one_site_owes_the_look_from_its_receipt_until_somebody_looked(told: Floor) -> None:
    made = told.does(SCAN, "lisbon")
    assert owing(told.state) == set()  # it must arrive first
    receiver = owed.receiver_of(told.state, told.job(SCAN))
    told.says(receiver, receipt(made, whole=False))
    assert owing(told.state) == set()
    other = next(site.name for site in told.state.film().sites if site.name not in {receiver, "lisbon"})
    told.says(other, receipt(made))
    assert owing(told.state) == set()  # whoever else has it need not look
    told.says(receiver, receipt(made))
    assert owing(told.state) == {receiver}
    told.says(receiver, looked(made))
    assert owing(told.state) == set()


def test_it_is_told_in_a_sentence() -> None:
    assert telling(not_looked("A/R01/v1")) == "did not look at A/R01/v1: no libraries there"
    assert telling(looked("A/R01/v1", 2)) == "looked at A/R01/v1: 2 findings block acceptance, 1 warns"
