"""What a check against the cut list means for acceptance: heeded, unless a person says why not."""

import pytest

from relay.ledger import owed
from relay.ledger.job_words import JobAccepted
from relay.ledger.telling import telling
from relay.ledger.words import VersionConformed
from relay.model import digest_of
from tests.unit.ledger.job_scene import COORDINATOR, Floor, floor, receipt, refused
from tests.unit.ledger.scene import version
from tests.unit.ledger.test_inspected import looked

SCAN = "scan/A/R01"
REPORT = digest_of(b"report")


@pytest.fixture
def told() -> Floor:
    told = floor(stages=[{"name": "scan"}], elements={"A": 1})
    told.opens()
    return told


def held(name: str, blocking: int, report: str = REPORT) -> VersionConformed:
    reel, _, number = name.rpartition("/v")
    return VersionConformed(
        version=name,
        manifest=version(reel, int(number)).manifest,
        cut_list=digest_of(b"list"),
        report=report,
        blocking=blocking,
        warning=0,
    )


def test_what_lies_otherwise_than_its_list_is_accepted_only_by_naming_the_report_and_a_reason(told: Floor) -> None:
    made = told.delivers(SCAN)
    told.says("kolkata", held(made, 3))
    job = told.job(SCAN).job
    with refused("lies otherwise than its cut list, in 3 findings"):
        told.accepts(SCAN)
    with refused("lies otherwise than its cut list"):
        told.says(COORDINATOR, JobAccepted(job=job, version=made, note="fine", despite_list=digest_of(b"another")))
    with refused("lies otherwise than its cut list"):
        told.says(COORDINATOR, JobAccepted(job=job, version=made, note="fine", despite=REPORT))
    with refused("say in --note why"):
        told.says(COORDINATOR, JobAccepted(job=job, version=made, despite_list=REPORT))
    told.says(COORDINATOR, JobAccepted(job=job, version=made, note="the title is longer", despite_list=REPORT))


def test_the_newest_check_counts(told: Floor) -> None:
    made = told.delivers(SCAN)
    told.says("kolkata", held(made, 3))
    told.says("halifax", held(made, 0, digest_of(b"against the list as re-cut")))
    told.accepts(SCAN)


def test_a_check_is_about_the_manifest_that_the_version_has(told: Floor) -> None:
    made = told.delivers(SCAN)
    with refused("another manifest"):
        told.says("kolkata", held(made, 0).model_copy(update={"manifest": digest_of(b"another")}))


def test_it_is_told_in_a_sentence() -> None:
    short = digest_of(b"list")[:12]
    assert telling(held("A/R01/v1", 2)) == (
        f"held A/R01/v1 against the cut list {short}: 2 findings block acceptance, 0 warn"
    )
    assert telling(held("A/R01/v1", 0)).endswith("frame for frame as it says")


def test_a_stage_that_asks_for_the_check_is_not_accepted_before_it() -> None:
    told = floor(stages=[{"name": "scan", "conformed": True}], elements={"A": 1})
    told.opens()
    made = told.does(SCAN, "lisbon")
    receiver = owed.receiver_of(told.state, told.job(SCAN))
    assert owed.to_conform(told.state, receiver) == []  # it must arrive first
    told.says(receiver, receipt(made))
    assert owed.to_conform(told.state, receiver) == [made]
    with refused("nobody held A/R01/v1 against its cut list yet"):
        told.accepts(SCAN)
    told.says(receiver, held(made, 0))
    assert owed.to_conform(told.state, receiver) == []
    told.accepts(SCAN)


def test_the_check_waits_for_the_look_that_leaves_the_thumbnails() -> None:
    told = floor(stages=[{"name": "scan", "conformed": True, "inspected": True}], elements={"A": 1})
    told.opens()
    made = told.does(SCAN, "lisbon")
    receiver = owed.receiver_of(told.state, told.job(SCAN))
    told.says(receiver, receipt(made))
    assert owed.to_conform(told.state, receiver) == []
    told.says(receiver, looked(made))
    assert owed.to_conform(told.state, receiver) == [made]
