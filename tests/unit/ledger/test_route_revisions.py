"""The production's file changes while jobs are under way."""

from typing import Any

import pytest

from relay.ledger.job_state import Standing
from relay.ledger.job_words import (
    ClaimReassigned,
    HandOnOffered,
    HandOnTaken,
    InputsRenewed,
    JobRestarted,
    JobWithdrawn,
    TryFailed,
)
from tests.unit.ledger.job_scene import COORDINATOR, REELS, STAGES, Floor, film, floor, floor_after, receipt, refused

MORE = {"A": 2, "B": 2, "P": 1}


def without(name: str) -> list[dict[str, Any]]:
    return [
        {**stage, "after": [each for each in stage.get("after", ()) if each != name]}
        for stage in STAGES
        if stage["name"] != name
    ]


def changed(name: str, **more: object) -> list[dict[str, Any]]:
    return [{**stage, **(more if stage["name"] == name else {})} for stage in STAGES]


@pytest.fixture
def copied() -> Floor:
    """The edit is open; grades are too."""
    return floor_after("scan", "copy")


def test_a_reel_that_turns_up_late_is_due_and_an_edit_that_nobody_claimed_yet_is_given_it(copied: Floor) -> None:
    before = copied.job("edit/P/R01").inputs
    copied.revises(film(elements=MORE))
    assert copied.opens() == ["opened scan/B/R02/1"]
    copied.delivers("scan/B/R02")
    assert copied.opens() == ["opened copy/B/R02/1", "opened grade/B/R02/1"]
    late = copied.delivers("copy/B/R02")
    assert copied.opens() == ["renewed edit/P/R01/1"]
    assert copied.job("edit/P/R01").inputs == (*before, late)


def test_an_edit_that_is_claimed_or_done_keeps_its_inputs_when_a_reel_turns_up(copied: Floor) -> None:
    before = copied.job("edit/P/R01").inputs
    copied.claims("edit/P/R01")
    copied.revises(film(elements=MORE))
    copied.opens()
    copied.delivers("scan/B/R02")
    copied.opens()
    late = copied.delivers("copy/B/R02")
    assert copied.opens() == []
    copied.hands_in("edit/P/R01")
    assert copied.opens() == []
    assert copied.job("edit/P/R01").inputs == before
    copied.gives_back("edit/P/R01")
    assert copied.opens() == ["renewed edit/P/R01/1"]
    assert copied.job("edit/P/R01").inputs == (*before, late)


def test_a_join_that_is_not_open_waits_for_a_reel_that_turned_up() -> None:
    told = floor()
    told.opens()
    for reel in REELS:
        told.delivers(f"scan/{reel}")
    told.opens()
    for reel in REELS[:2]:
        told.delivers(f"copy/{reel}")
    told.revises(film(elements=MORE))
    told.opens()
    told.delivers("copy/B/R01")
    assert told.opens() == []
    told.delivers("scan/B/R02")
    told.opens()
    told.delivers("copy/B/R02")
    assert "opened edit/P/R01/1" in told.opens()


def test_work_at_a_stage_that_was_taken_out_is_finished_by_its_holder_and_feeds_nothing(copied: Floor) -> None:
    copied.claims("grade/A/R01")
    copied.revises(film(without("grade")))
    made = copied.hands_in("grade/A/R01")
    copied.says(COORDINATOR, receipt(made))
    copied.accepts("grade/A/R01")
    copied.delivers("edit/P/R01")
    assert copied.opens() == ["opened conform/P/R01/1"]
    assert made not in copied.job("conform/P/R01").inputs


def test_open_work_at_a_stage_that_was_taken_out_is_not_claimed_nor_given_inputs_and_can_be_withdrawn(
    copied: Floor,
) -> None:
    copied.revises(film(without("grade")))
    with refused("does not do grade"):
        copied.claims("grade/A/R01")
    for inputs in ((), ("A/R01/v2",)):
        with refused("does not give it these inputs"):
            copied.says("kolkata", InputsRenewed(job="grade/A/R01/1", inputs=inputs))
    with refused("halifax may not withdraw"):
        copied.says("halifax", JobWithdrawn(job="grade/A/R01/1", reason="no such stage any more"))
    copied.says(COORDINATOR, JobWithdrawn(job="grade/A/R01/1", reason="no such stage any more"))
    with refused("at stage grade, which the route does not have"):
        copied.asks("grade/A/R01/2")


def test_the_coordinator_takes_a_job_at_a_stage_that_was_taken_out_from_its_holder(copied: Floor) -> None:
    epoch = copied.claims("grade/A/R01")
    copied.revises(film(without("grade")))
    copied.says(COORDINATOR, ClaimReassigned(job="grade/A/R01/1", epoch=epoch, reason="no such stage any more"))
    assert copied.job("grade/A/R01").standing is Standing.OPEN


def test_a_reel_that_a_stage_does_not_work_on_any_more_is_not_waited_for_and_its_job_gets_no_inputs() -> None:
    told = floor()
    told.opens()
    for reel in REELS:
        told.delivers(f"scan/{reel}")
    told.opens()
    for reel in REELS[:2]:
        told.delivers(f"copy/{reel}")
    told.revises(film(changed("copy", of=["A/R01", "A/R02"])))
    assert told.opens() == ["opened edit/P/R01/1"]
    told.gives_back("scan/B/R01")
    new = told.delivers("scan/B/R01")
    assert told.opens() == ["renewed grade/B/R01/1"]
    with refused("does not give it these inputs"):
        told.says("kolkata", InputsRenewed(job="copy/B/R01/1", inputs=(new,)))


def test_a_stage_that_is_put_in_between_gives_open_jobs_after_it_other_inputs() -> None:
    stages = [{"name": "scan"}, {"name": "grade", "after": ["scan"]}]
    told = floor(stages=stages, elements={"A": 1})
    told.opens()
    told.delivers("scan/A/R01")
    told.opens()
    between = [{"name": "scan"}, {"name": "clean", "after": ["scan"]}, {"name": "grade", "after": ["clean"]}]
    told.revises(film(between, {"A": 1}))
    assert told.opens() == ["opened clean/A/R01/1"]
    made = told.delivers("clean/A/R01")
    assert told.opens() == ["renewed grade/A/R01/1"]
    assert told.job("grade/A/R01").inputs == (made,)


def test_a_site_whose_stages_were_revised_away_finishes_what_it_holds_and_takes_nothing_new(copied: Floor) -> None:
    held = copied.claims("edit/P/R01", "lisbon")
    taken = copied.claims("grade/A/R01", "kolkata")
    offer = HandOnOffered(job="edit/P/R01/1", epoch=held, to="kolkata", done="reel 1", left="reel 2")
    copied.says("lisbon", offer)
    copied.revises(film(does={"kolkata": ["copy"], "lisbon": ["copy"]}))
    with refused("kolkata does not do edit"):
        copied.says("kolkata", HandOnTaken(job="edit/P/R01/1", epoch=held))
    with refused("kolkata does not do grade"):
        copied.claims("grade/A/R02", "kolkata")
    copied.hands_in("grade/A/R01", "kolkata", taken)
    copied.hands_in("edit/P/R01", "lisbon", held)


def test_who_may_accept_is_what_the_file_says_now(copied: Floor) -> None:
    copied.delivers("grade/A/R01")
    copied.delivers("grade/A/R02")
    copied.accepts("grade/A/R01", "halifax")
    copied.revises(film(changed("grade", accepted_by=["kolkata"])))
    with refused("halifax may not accept"):
        copied.accepts("grade/A/R02", "halifax")
    copied.accepts("grade/A/R02", "kolkata")


def test_an_acceptor_restarts_a_stopped_job_and_the_coordinator_does_where_the_stage_names_none(copied: Floor) -> None:
    for name in ("grade/A/R01", "edit/P/R01"):
        for _ in range(3):
            epoch = copied.claims(name, lease=60)
            copied.says("lisbon", TryFailed(job=copied.job(name).job, epoch=epoch, said="no"))
    copied.says("halifax", JobRestarted(job="grade/A/R01/1", reason="mended"))
    with refused("halifax may not restart"):
        copied.says("halifax", JobRestarted(job="edit/P/R01/1", reason="mended"))
    copied.says(COORDINATOR, JobRestarted(job="edit/P/R01/1", reason="mended"))
