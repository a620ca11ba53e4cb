"""Which jobs the route asks for, when, and with which inputs."""

import sys
from collections.abc import Callable
from itertools import pairwise

import pytest

from relay.ledger import route
from relay.ledger.job_state import Standing
from relay.ledger.job_words import JobOpened, JobWithdrawn
from relay.model import FrameRange, Stage
from tests.unit.ledger.job_scene import COORDINATOR, STAGES, Floor, film, floor, receipt, refused

REELS = ("A/R01", "A/R02", "B/R01")


@pytest.fixture
def scanned() -> Floor:
    told = floor()
    told.opens()
    for reel in REELS:
        told.delivers(f"scan/{reel}")
    return told


def withdraw(told: Floor, name: str) -> None:
    told.says(COORDINATOR, JobWithdrawn(job=told.job(name).job, reason="the print is past scanning"))


def test_the_first_stages_work_on_every_reel_but_the_restored_programme_s() -> None:
    told = floor()
    assert told.opens() == [f"opened scan/{reel}/1" for reel in REELS]
    assert told.opens() == []


def test_a_stage_works_on_the_reels_of_the_stages_before_it_unless_it_names_its_own() -> None:
    production = film()
    reels = {stage.name: route.reels_of(production, stage) for stage in production.route}
    assert reels == {"scan": REELS, "copy": REELS, "edit": ("P/R01",), "grade": REELS, "conform": ("P/R01",)}
    assert route.reels_of(production, Stage(name="dub")) == ()


def test_stages_may_stand_in_the_file_in_any_order() -> None:
    backwards = film(list(reversed(STAGES)))
    assert {stage.name: route.reels_of(backwards, stage) for stage in backwards.route} == {
        stage.name: route.reels_of(film(), stage) for stage in film().route
    }


def test_copies_and_grades_open_side_by_side_each_as_its_own_scan_arrives() -> None:
    told = floor()
    told.opens()
    told.delivers("scan/A/R02")
    assert told.opens() == ["opened copy/A/R02/1", "opened grade/A/R02/1"]
    assert told.job("grade/A/R02").inputs == ("A/R02/v1",)


def test_many_prints_feed_one_edit_which_waits_for_the_last_of_them(scanned: Floor) -> None:
    scanned.opens()
    copies = [scanned.delivers(f"copy/{reel}") for reel in REELS[:2]]
    assert scanned.opens() == []
    copies.append(scanned.delivers("copy/B/R01"))
    assert scanned.opens() == ["opened edit/P/R01/1"]
    assert scanned.job("edit/P/R01").inputs == tuple(copies)


def test_edit_and_grades_join_at_conform(scanned: Floor) -> None:
    scanned.opens()
    for reel in REELS:
        scanned.delivers(f"copy/{reel}")
    scanned.opens()
    edit = scanned.delivers("edit/P/R01")
    grades = [scanned.delivers(f"grade/{reel}") for reel in REELS]
    for reel in REELS:
        assert scanned.opens() == []
        scanned.accepts(f"grade/{reel}")
    assert scanned.opens() == ["opened conform/P/R01/1"]
    assert scanned.job("conform/P/R01").inputs == (edit, *grades)


def test_what_comes_after_the_scan_opens_on_verified_arrival_and_not_on_handing_in() -> None:
    told = floor()
    told.opens()
    made = told.does("scan/A/R01")
    assert told.opens() == []
    told.says("kolkata", receipt(made, whole=False))
    assert told.opens() == []
    told.says("kolkata", receipt(made))
    assert told.opens() == ["opened copy/A/R01/1", "opened grade/A/R01/1"]
    assert told.job("scan/A/R01").standing is Standing.HANDED_IN


def test_what_comes_after_the_grade_opens_on_acceptance_and_not_on_arrival() -> None:
    stages = [{"name": "grade", "next_opens_on": "acceptance"}, {"name": "print", "after": ["grade"]}]
    told = floor(stages=stages, elements={"A": 1})
    told.opens()
    told.delivers("grade/A/R01")
    assert told.opens() == []
    told.accepts("grade/A/R01")
    assert told.opens() == ["opened print/A/R01/1"]


def test_a_stage_that_waits_itself_for_acceptance_holds_up_no_other() -> None:
    stages = [
        {"name": "scan"},
        {"name": "copy", "after": ["scan"], "opens_on": "acceptance"},
        {"name": "clean", "after": ["scan"]},
    ]
    told = floor(stages=stages, elements={"A": 1})
    told.opens()
    told.delivers("scan/A/R01")
    assert told.opens() == ["opened clean/A/R01/1"]
    told.accepts("scan/A/R01")
    assert told.opens() == ["opened copy/A/R01/1"]


def test_a_stage_may_take_what_arrived_where_the_one_before_would_have_all_wait() -> None:
    stages = [
        {"name": "scan", "next_opens_on": "acceptance"},
        {"name": "copy", "after": ["scan"], "opens_on": "arrival"},
        {"name": "clean", "after": ["scan"]},
    ]
    told = floor(stages=stages, elements={"A": 1})
    told.opens()
    told.delivers("scan/A/R01")
    assert told.opens() == ["opened copy/A/R01/1"]


def test_the_maker_s_own_word_that_its_work_is_whole_counts_only_until_another_site_has_spoken() -> None:
    told = floor()
    told.opens()
    made = told.does("scan/A/R01", "lisbon")
    told.says("lisbon", receipt(made))
    assert route.has_arrived(told.state, made)
    told.says("kolkata", receipt(made, whole=False))
    assert not route.has_arrived(told.state, made)
    told.says("lisbon", receipt(made))
    assert not route.has_arrived(told.state, made)
    assert told.opens() == []
    with refused("not received whole"):
        told.accepts("scan/A/R01")
    told.says("halifax", receipt(made))
    assert route.has_arrived(told.state, made)


def test_a_site_s_newest_receipt_is_the_one_that_counts(scanned: Floor) -> None:
    made = scanned.job("scan/A/R01").outcome
    assert route.has_arrived(scanned.state, made)
    scanned.says(COORDINATOR, receipt(made, whole=False))
    assert not route.has_arrived(scanned.state, made)


def test_an_input_that_two_stages_hand_over_is_taken_once() -> None:
    stages = [
        {"name": "scan"},
        {"name": "edit", "after": ["scan"], "of": ["P/R01"]},
        {"name": "conform", "after": ["edit", "scan"], "of": ["P/R01", "A/R01"]},
    ]
    told = floor(stages=stages, elements={"A": 1, "P": 1})
    told.opens()
    scan = told.delivers("scan/A/R01")
    told.opens()
    edit = told.delivers("edit/P/R01")
    told.opens()
    assert told.job("conform/P/R01").inputs == (edit, scan)
    assert told.job("conform/A/R01").inputs == (edit, scan)


def test_a_stage_after_others_never_opens_with_nothing_to_work_on() -> None:
    told = floor(elements={"P": 1})
    assert told.opens() == []


def test_a_production_without_a_route_has_only_the_work_that_its_coordinator_asks_for() -> None:
    told = floor(stages=[], elements={"A": 1})
    assert told.opens() == []
    with refused("lisbon may not ask"):
        told.asks("scan/A/R01/2", "lisbon")
    with refused("not due"):
        told.asks("scan/A/R01/1", COORDINATOR)
    told.asks("scan/A/R01/2")
    told.delivers("scan/A/R01/2", "kolkata")
    told.accepts("scan/A/R01/2")


def calls_of(due: Callable[[], object]) -> int:
    counted = 0

    def count(_frame: object, event: str, _what: object) -> None:
        nonlocal counted
        counted += event == "call"

    sys.setprofile(count)
    try:
        due()
    finally:
        sys.setprofile(None)
    return counted


@pytest.mark.parametrize("opened", [False, True])
def test_what_is_due_costs_twice_as_much_for_twice_as_many_reels(opened: bool) -> None:
    line = [{"name": name, "after": [before] if before else []} for before, name in pairwise(["", *"abcde"])]
    counted = []
    for reels in (20, 40):
        told = floor(stages=line, elements={"A": reels})
        if opened:
            told.opens()
        counted.append(calls_of(lambda state=told.state: route.due(state)))  # type: ignore[misc]
    assert counted[1] < 2.2 * counted[0]


def second_pass(told: Floor, **more: object) -> str:
    frames = (FrameRange(first=120, last=260),)
    made = told.job("grade/A/R01").outcome
    return told.asks("grade/A/R01/2", "halifax", inputs=(made,), frames=frames, reason="the pan flickers", **more)


@pytest.fixture
def graded(scanned: Floor) -> Floor:
    """Everything before the conform is done, and the conform is not open yet."""
    scanned.opens()
    for reel in REELS:
        scanned.delivers(f"copy/{reel}")
        scanned.delivers(f"grade/{reel}")
        scanned.accepts(f"grade/{reel}")
    scanned.opens()
    scanned.delivers("edit/P/R01")
    return scanned


def test_conform_waits_for_a_second_pass_and_takes_what_it_makes(graded: Floor) -> None:
    again = second_pass(graded)
    assert graded.opens() == []
    made = graded.delivers(again)
    assert graded.opens() == []
    graded.accepts(again, "halifax")
    assert graded.opens() == ["opened conform/P/R01/1"]
    assert made in graded.job("conform/P/R01").inputs
    assert graded.job("grade/A/R01").outcome not in graded.job("conform/P/R01").inputs


def test_an_open_conform_is_given_the_second_pass_and_a_claimed_one_keeps_what_it_has(graded: Floor) -> None:
    graded.opens()
    again = second_pass(graded)
    made = graded.delivers(again)
    graded.accepts(again)
    assert graded.opens() == ["renewed conform/P/R01/1"]
    assert made in graded.job("conform/P/R01").inputs
    graded.claims("conform/P/R01")
    third = graded.asks("grade/A/R01/3", inputs=(made,))
    graded.delivers(third)
    graded.accepts(third)
    assert graded.opens() == []
    assert made in graded.job("conform/P/R01").inputs


def test_a_second_pass_that_was_withdrawn_leaves_the_first_one_s_outcome(graded: Floor) -> None:
    again = second_pass(graded)
    assert graded.opens() == []
    graded.says("halifax", JobWithdrawn(job=again, reason="it was the projector"))
    assert graded.opens() == ["opened conform/P/R01/1"]
    assert graded.job("grade/A/R01").outcome in graded.job("conform/P/R01").inputs


def test_of_two_passes_the_one_that_was_opened_last_counts(scanned: Floor) -> None:
    early = scanned.asks("grade/A/R01/2", inputs=("A/R01/v1",))
    scanned.opens()
    own = scanned.delivers("grade/A/R01")
    scanned.delivers(early)
    scanned.accepts(early)
    state = scanned.state
    grade = state.film().stage("grade")
    assert route.outcome_of(state, grade, "A/R01") is None
    scanned.accepts("grade/A/R01")
    assert route.outcome_of(state, grade, "A/R01") == own


def test_of_two_passes_asked_for_in_one_entry_the_later_counts(graded: Floor) -> None:
    names = [f"grade/A/R01/{number}" for number in (2, 3)]
    graded.says(COORDINATOR, *(JobOpened(job=name, stage="grade", reel="A/R01") for name in names))
    made = [graded.delivers(name) for name in names]
    for name in names:
        graded.accepts(name)
    assert graded.job(names[0]).opened == graded.job(names[1]).opened
    assert graded.opens() == ["opened conform/P/R01/1"]
    inputs = graded.job("conform/P/R01").inputs
    assert made[1] in inputs
    assert made[0] not in inputs


def test_work_asked_for_ahead_of_the_route_s_own_hands_nothing_on() -> None:
    told = floor()
    early = told.asks("scan/A/R01/2", reason="a test of the wet gate")
    told.delivers(early)
    told.accepts(early)
    assert told.opens() == [f"opened scan/{reel}/1" for reel in REELS]
    own = told.delivers("scan/A/R01")
    told.opens()
    assert told.job("copy/A/R01").inputs == (own,)


def test_a_pass_feeds_the_join_where_the_route_would_never_open_one() -> None:
    told = floor()
    told.opens()
    for reel in REELS[:2]:
        told.delivers(f"scan/{reel}")
    withdraw(told, "scan/B/R01")
    told.opens()
    told.says("kolkata", told.next_version("B/R01"))
    lent = told.asks("copy/B/R01/2", inputs=("B/R01/v1",), reason="another house scanned it")
    copies = [told.delivers(f"copy/{reel}") for reel in REELS[:2]]
    assert told.opens() == []
    copies.append(told.delivers(lent))
    assert told.opens() == ["opened edit/P/R01/1"]
    assert told.job("edit/P/R01").inputs == tuple(copies)


def test_a_join_goes_on_without_what_was_withdrawn_before_it_made_anything() -> None:
    told = floor()
    told.opens()
    for reel in REELS[:2]:
        told.delivers(f"scan/{reel}")
    withdraw(told, "scan/B/R01")
    told.opens()
    assert "copy/B/R01/1" not in told.state.jobs
    copies = tuple(told.delivers(f"copy/{reel}") for reel in REELS[:2])
    assert told.opens() == ["opened edit/P/R01/1"]
    assert told.job("edit/P/R01").inputs == copies


def test_withdrawn_work_comes_back_by_a_further_pass() -> None:
    told = floor()
    told.opens()
    withdraw(told, "scan/B/R01")
    assert told.opens() == []
    again = told.asks("scan/B/R01/2", reason="a wet gate may do it")
    made = told.delivers(again)
    assert told.opens() == ["opened copy/B/R01/1", "opened grade/B/R01/1"]
    assert told.job("copy/B/R01").inputs == (made,)


def test_nothing_opens_at_a_join_when_all_that_it_would_take_was_withdrawn() -> None:
    told = floor()
    told.opens()
    for reel in REELS:
        withdraw(told, f"scan/{reel}")
    assert told.opens() == []
