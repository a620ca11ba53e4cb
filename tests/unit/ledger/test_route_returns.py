"""What stands on work that came back: marked, all the way down, until it is given other inputs."""

import pytest

from relay.ledger.job_state import Standing
from relay.ledger.job_words import InputsRenewed, JobHandedIn, JobReturned, JobWithdrawn, WorkCameLate
from tests.unit.ledger.job_scene import COORDINATOR, LATER, Floor, floor, receipt, refused
from tests.unit.ledger.scene import pen

LINE = [
    {"name": "scan"},
    {"name": "clean", "after": ["scan"]},
    {"name": "grade", "after": ["clean"]},
    {"name": "edit", "after": ["clean"], "of": ["P/R01"]},
    {"name": "conform", "after": ["edit", "grade"], "of": ["P/R01"]},
]


def marked(told: Floor) -> dict[str, tuple[str, ...]]:
    jobs = told.state.jobs.values()
    return {job.job.removesuffix("/1"): job.stands_on_returned for job in jobs if job.stands_on_returned}


@pytest.fixture
def done() -> Floor:
    """Two reels went through everything, and all is accepted but the conform, which lisbon holds."""
    told = floor(stages=LINE, elements={"A": 2, "P": 1})
    for names in (("scan/A/R01", "scan/A/R02"), ("clean/A/R01", "clean/A/R02"), ("grade/A/R01", "grade/A/R02")):
        told.opens()
        for name in names:
            told.delivers(name)
            told.accepts(name)
    told.delivers("edit/P/R01")
    told.opens()
    told.claims("conform/P/R01")
    return told


def test_a_return_marks_all_that_stands_on_the_version_whatever_became_of_it(done: Floor) -> None:
    back = done.gives_back("scan/A/R01")
    below = ["clean/A/R01", "grade/A/R01", "edit/P/R01", "conform/P/R01"]
    assert marked(done) == dict.fromkeys(below, (back,))
    standings = [done.job(name).standing for name in below]
    assert standings == [Standing.ACCEPTED, Standing.ACCEPTED, Standing.HANDED_IN, Standing.CLAIMED]


def test_two_returns_leave_two_marks(done: Floor) -> None:
    one, two = done.gives_back("scan/A/R01"), done.gives_back("scan/A/R02")
    assert marked(done)["conform/P/R01"] == (one, two)
    assert marked(done)["grade/A/R02"] == (two,)


def test_a_withdrawn_job_is_not_marked_and_what_stands_on_it_is(done: Floor) -> None:
    edit = done.job("edit/P/R01").outcome
    done.says(COORDINATOR, JobWithdrawn(job="edit/P/R01/1", reason="another cut is made"))
    assert marked(done) == {"conform/P/R01": (edit,)}
    back = done.gives_back("scan/A/R01")
    assert marked(done)["conform/P/R01"] == (edit, back)
    assert "edit/P/R01" not in marked(done)


def test_withdrawing_what_was_never_handed_in_marks_nothing(done: Floor) -> None:
    done.says(COORDINATOR, JobWithdrawn(job="conform/P/R01/1", reason="no"))
    assert marked(done) == {}


def test_a_job_that_opens_later_on_what_stands_on_a_return_is_marked_from_the_start() -> None:
    told = floor(stages=LINE, elements={"A": 1, "P": 1})
    told.opens()
    told.delivers("scan/A/R01")
    told.opens()
    told.delivers("clean/A/R01")
    back = told.gives_back("scan/A/R01")
    assert told.opens() == ["opened grade/A/R01/1", "opened edit/P/R01/1"]
    assert marked(told) == dict.fromkeys(["clean/A/R01", "grade/A/R01", "edit/P/R01"], (back,))


def test_the_mark_stays_when_other_inputs_are_renewed_and_goes_when_none_stands_on_the_return() -> None:
    stages = [
        {"name": "scan"},
        {"name": "clean", "after": ["scan"]},
        {"name": "sound"},
        {"name": "conform", "after": ["clean", "sound"]},
    ]
    told = floor(stages=stages, elements={"A": 1})
    told.opens()
    told.delivers("scan/A/R01")
    told.delivers("sound/A/R01")
    told.opens()
    clean = told.delivers("clean/A/R01")
    told.opens()
    back = told.gives_back("scan/A/R01")
    told.gives_back("sound/A/R01")
    sound = told.delivers("sound/A/R01")
    assert told.opens() == ["renewed conform/A/R01/1"]
    assert told.job("conform/A/R01").inputs == (clean, sound)
    assert marked(told)["conform/A/R01"] == (back,)
    told.gives_back("clean/A/R01")
    told.delivers("scan/A/R01")
    assert told.opens() == ["renewed clean/A/R01/1"]
    told.delivers("clean/A/R01")
    assert told.opens() == ["renewed conform/A/R01/1"]
    assert marked(told) == {}


def test_nothing_is_renewed_while_the_returned_work_is_not_done_again(done: Floor) -> None:
    done.gives_back("scan/A/R01")
    done.gives_back("clean/A/R01")
    assert done.opens() == []
    done.does("scan/A/R01")
    assert done.opens() == []
    done.says("kolkata", receipt(done.job("scan/A/R01").outcome))
    assert done.opens() == ["renewed clean/A/R01/1"]


def test_inputs_are_renewed_by_the_route_s_own_word_only(done: Floor) -> None:
    done.gives_back("scan/A/R01")
    done.gives_back("clean/A/R01")
    new = done.delivers("scan/A/R01")
    for inputs in ((), ("A/R01/v1",), (new, "A/R02/v1"), ("A/R02/v1",)):
        with refused("does not give it these inputs"):
            done.says("halifax", InputsRenewed(job="clean/A/R01/1", inputs=inputs))
    done.says("halifax", InputsRenewed(job="clean/A/R01/1", inputs=(new,)))
    with refused("does not give it these inputs"):
        done.says("halifax", InputsRenewed(job="clean/A/R01/1", inputs=(new,)))


def test_a_further_pass_keeps_the_inputs_that_were_chosen_for_it_and_is_marked_when_one_came_back(done: Floor) -> None:
    graded = done.job("grade/A/R01").outcome
    again = done.asks("grade/A/R01/2", inputs=(graded,))
    back = done.gives_back("grade/A/R01")
    new = done.delivers("grade/A/R01")
    assert done.opens() == []
    assert (done.job(again).inputs, done.job(again).stands_on_returned) == ((graded,), (back,))
    with refused("does not give it these inputs"):
        done.says("lisbon", InputsRenewed(job=again, inputs=(new,)))


def test_a_further_pass_on_what_came_back_is_marked_from_the_start(done: Floor) -> None:
    back = done.gives_back("grade/A/R01")
    again = done.asks("grade/A/R01/2", inputs=(back,))
    assert done.job(again).stands_on_returned == (back,)


def test_a_further_pass_on_what_was_withdrawn_after_it_was_handed_in_is_marked_from_the_start(done: Floor) -> None:
    edit = done.job("edit/P/R01").outcome
    done.says(COORDINATOR, JobWithdrawn(job="edit/P/R01/1", reason="another cut is made"))
    assert done.job(done.asks("edit/P/R01/2", inputs=(edit,))).stands_on_returned == (edit,)


def test_late_work_carries_the_mark_of_what_it_was_made_from(done: Floor) -> None:
    late = done.job("grade/A/R01").past[-1]
    made = done.next_version("A/R01")
    done.says(late.site, made, WorkCameLate(job="grade/A/R01/1", epoch=late.epoch, version=made.version))
    back = done.gives_back("scan/A/R01")
    assert done.job(done.asks("grade/A/R01/2", inputs=(made.version,))).stands_on_returned == (back,)


def test_late_work_for_a_job_that_was_withdrawn_did_not_come_back() -> None:
    told = floor(stages=LINE, elements={"A": 1, "P": 1})
    told.opens()
    epoch = told.claims("scan/A/R01")
    told.says(COORDINATOR, JobWithdrawn(job="scan/A/R01/1", reason="lent to another house"))
    made = told.next_version("A/R01")
    told.says("lisbon", made, WorkCameLate(job="scan/A/R01/1", epoch=epoch, version=made.version))
    assert told.job(told.asks("scan/A/R01/2", inputs=(made.version,))).stands_on_returned == ()


def test_a_return_that_is_only_tried_marks_nothing(done: Floor) -> None:
    before = done.state.projection()
    made = done.job("scan/A/R01").outcome
    assert done.may(pen(COORDINATOR), JobReturned(job="scan/A/R01/1", version=made, reasons="scratched"))
    assert done.state.projection() == before


def test_a_version_sent_without_a_job_carries_no_mark(done: Floor) -> None:
    made = done.next_version("A/R01")
    done.says("kolkata", made)
    done.gives_back("scan/A/R01")
    assert done.job(done.asks("grade/A/R01/2", inputs=(made.version,))).stands_on_returned == ()


def test_a_version_that_came_back_is_never_handed_in_again(done: Floor) -> None:
    back = done.gives_back("scan/A/R01")
    epoch = done.claims("scan/A/R01", until=LATER)
    with refused("which this entry does not make"):
        done.says("lisbon", JobHandedIn(job="scan/A/R01/1", epoch=epoch, version=back))
