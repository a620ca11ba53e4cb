"""From the ledger to what there is to plan: each figure is worked out by hand beside it."""

from datetime import UTC, datetime, timedelta

import pytest

from relay.errors import RefusedError
from relay.forecast.asking import problem_of
from relay.forecast.ground import Ground
from relay.ledger.job_words import HandOnOffered, HandOnTaken, JobWithdrawn, SiteAsked
from relay.shifts.problem import Overnight, Problem, Stay, Told, Work
from tests.unit.forecast.scene import START, House, film, hours, task
from tests.unit.ledger.job_scene import receipt

HOUR = 60
DAY = 24 * HOUR


def asked(house: House) -> Problem:
    return problem_of(Ground.of(house.state, house.clock))


def test_every_job_of_the_route_is_planned_those_that_are_not_open_yet_too():
    problem = asked(House.of(film()))
    assert [each.id for each in problem.tasks] == [
        "scan/A/R01/1",
        "scan/A/R02/1",
        "copy/A/R01/1",
        "copy/A/R02/1",
        "grade/A/R01/1",
        "accept grade/A/R01/1",
        "grade/A/R02/1",
        "accept grade/A/R02/1",
        "edit/P/R01/1",
    ]
    assert task(problem, "grade/A/R01/1").after == ("scan/A/R01/1",)
    assert set(task(problem, "edit/P/R01/1").after) == {
        *("copy/A/R01/1", "copy/A/R02/1"),
        *("grade/A/R01/1", "accept grade/A/R01/1", "grade/A/R02/1", "accept grade/A/R02/1"),
    }


def test_hours_are_counted_from_now_and_joined_where_they_touch():
    house = House.of(film(site__lisbon={"shift": [{"from": "06:00", "to": "14:00"}, {"from": "14:00", "to": "22:00"}]}))
    problem = asked(house)
    # Now is Monday 08:00 UTC. Lisbon keeps UTC in January, Halifax is 4 hours behind, Kolkata 5:30 ahead.
    assert problem.epoch == START
    assert hours(problem, "lisbon").windows[:2] == ((0, 14 * HOUR), (DAY - 2 * HOUR, DAY + 14 * HOUR))
    assert hours(problem, "halifax").windows[:2] == ((4 * HOUR, 8 * HOUR), (9 * HOUR, 13 * HOUR))
    assert hours(problem, "kolkata").windows[0] == (0, 4 * HOUR + 30)
    assert hours(problem, "kolkata").windows[1][0] == DAY - 3 * HOUR - 30


def test_hands_and_people_are_those_of_the_file():
    problem = asked(House.of(film(site__lisbon={"hands": {"grade": 3}, "people": 2})))
    assert (hours(problem, "halifax").hands, hours(problem, "halifax").stage_hands) == (2, {"scan": 2})
    assert (hours(problem, "lisbon").hands, hours(problem, "lisbon").stage_hands["grade"]) == (2, 3)
    assert hours(problem, "kolkata").hands == 2, "one for each of its stages, where nothing is said"


def test_a_machine_works_at_all_hours_beside_the_people():
    problem = asked(House.of(film()))
    (choice,) = task(problem, "copy/A/R01/1").choices
    assert choice.site == "lisbon/worker"
    assert hours(problem, "lisbon/worker").windows == ((0, 10**9),)
    assert {each.name for each in problem.sites} == {
        *("oslo", "lisbon", "halifax", "kolkata"),
        *("oslo/desk", "lisbon/desk", "halifax/desk", "kolkata/desk"),
        "lisbon/worker",
    }


def test_work_is_frames_by_the_rate_of_the_site_or_else_the_stage():
    problem = asked(House.of(film()))
    # 16,000 frames at Halifax's own 4,000 an hour are 240 minutes, with a fifth less and half as much more around it.
    assert task(problem, "scan/A/R01/1").choices[0].work == Work(192, 240, 360)
    assert {choice.site: choice.work.likely for choice in task(problem, "grade/A/R02/1").choices} == {
        "lisbon": 480,  # 8,000 frames at 1,000 an hour
        "kolkata": 480,
    }


def test_a_print_is_worked_on_where_it_is_lent_to_and_only_during_its_stay():
    problem = asked(House.of(film()))
    assert task(problem, "scan/A/R02/1").loan == "A"
    assert task(problem, "grade/A/R02/1").loan is None
    (loan,) = problem.loans
    # It arrives on 5 January, 00:00 in Halifax; due back on the 29th, three days under way: it leaves on the 26th,
    # whose end is 27 January 04:00 UTC.
    arrives = datetime(2027, 1, 5, 4, tzinfo=UTC) - START
    leaves = datetime(2027, 1, 27, 4, tzinfo=UTC) - START
    assert loan.stays == (Stay("halifax", int(arrives.total_seconds()) // 60, int(leaves.total_seconds()) // 60),)


def test_a_print_of_which_nobody_said_where_it_lies_still_has_its_date():
    problem = asked(
        House.of(film(element__A={"loan": {"due_back": "2027-01-29", "credit": "a", "permitted_use": "b"}}))
    )
    assert problem.loans == ()
    due = datetime(2027, 1, 29, 23, tzinfo=UTC) - START  # midnight in Oslo, the coordinator's
    assert task(problem, "scan/A/R01/1").due == int(due.total_seconds()) // 60
    assert task(problem, "grade/A/R01/1").due is None


def test_outcomes_take_the_time_that_both_lines_need():
    problem = asked(House.of(film()))
    legs = task(problem, "scan/A/R01/1").legs
    assert legs is not None
    # 16,000 frames of 12,748,800 bytes; 80 megabits a second are 10^7 bytes, 800 are 10^8.
    size = 16_000 * 12_748_800
    assert legs["halifax", "kolkata"] == -(-2 * size // (10**7 * 60))
    assert legs["halifax", "lisbon"] == -(-(size * 11) // (10**8 * 60))
    assert legs["lisbon", "lisbon/worker"] == 0


def test_a_claim_counts_what_was_worked_on_it_in_shifts():
    house = House.of(film())
    house.waits(hours=5)  # 13:00 UTC, 09:00 in Halifax
    house.claims("scan/A/R01", "halifax")
    house.waits(hours=6)  # 15:00 in Halifax: three hours until noon, and two after one
    claim = task(asked(house), "scan/A/R01/1").claim
    assert claim is not None
    assert (claim.site, claim.since, claim.done) == ("halifax", -6 * HOUR, 5 * HOUR)


def test_what_was_done_before_a_hand_on_counts_too():
    house = House.of(film(site__kolkata={"stages": ["grade", "edit", "scan"]}, stage__scan={"may_move": True}))
    house.waits(hours=5)
    house.claims("scan/A/R01", "halifax")
    house.waits(hours=2)
    epoch = house.job("scan/A/R01").claim.epoch
    house.says("halifax", HandOnOffered(job="scan/A/R01/1", epoch=epoch, to="kolkata", done="half", left="half"))
    house.says("kolkata", HandOnTaken(job="scan/A/R01/1", epoch=epoch))
    house.waits(hours=15)  # Tuesday 06:00 UTC: Kolkata opened at 04:30
    claim = task(asked(house), "scan/A/R01/1").claim
    assert claim is not None
    assert (claim.site, claim.done) == ("kolkata", 2 * HOUR + 90)


def test_finished_work_lies_where_receipts_say_and_elsewhere_needs_the_line():
    house = House.of(film())
    made = house.does("scan/A/R01", "halifax")
    house.says("kolkata", receipt(made))
    house.opens()
    house.waits(hours=1)
    done = task(asked(house), "scan/A/R01/1")
    assert done.done is not None
    assert (done.done.site, done.done.at) == ("halifax", -HOUR)
    assert set(done.done.copies) == {"halifax", "halifax/desk", "kolkata", "kolkata/desk"}
    assert done.claim is None
    assert task(asked(house), "grade/A/R01/1").after == ("scan/A/R01/1",)


def test_work_that_was_accepted_needs_no_second_acceptance():
    house = House.of(film())
    house.delivers("scan/A/R01", "halifax")
    house.opens()
    house.delivers("grade/A/R01", "kolkata")
    assert "accept grade/A/R01/1" in [each.id for each in asked(house).tasks]
    house.accepts("grade/A/R01")
    problem = asked(house)
    assert "accept grade/A/R01/1" not in [each.id for each in problem.tasks]
    assert "accept grade/A/R01/1" not in task(problem, "edit/P/R01/1").after


def test_a_stage_that_waits_itself_for_acceptance_is_planned_after_it_and_no_other_is():
    problem = asked(House.of(film(stage__copy={"opens_on": "acceptance"})))
    assert "accept scan/A/R01/1" in [each.id for each in problem.tasks]
    assert task(problem, "copy/A/R01/1").after == ("scan/A/R01/1", "accept scan/A/R01/1")
    assert task(problem, "grade/A/R01/1").after == ("scan/A/R01/1",)


def test_withdrawn_work_is_not_waited_for():
    house = House.of(film())
    house.says("oslo", JobWithdrawn(job="scan/A/R02/1", reason="the reel is lost"))
    problem = asked(house)
    assert not [each.id for each in problem.tasks if "A/R02" in each.id]
    assert set(task(problem, "edit/P/R01/1").after) == {"copy/A/R01/1", "grade/A/R01/1", "accept grade/A/R01/1"}


def test_a_second_pass_hands_on_in_place_of_the_first():
    house = House.of(film())
    house.delivers("scan/A/R01", "halifax")
    house.asks("scan/A/R01/2", frames=[{"first": 100, "last": 299}], reason="torn")
    problem = asked(house)
    second = task(problem, "scan/A/R01/2")
    assert second.title == "scan of A/R01, pass 2"
    assert second.choices[0].work.likely == 3, "200 frames at 4,000 an hour"
    assert task(problem, "grade/A/R01/1").after == ("scan/A/R01/2",)


def test_whoever_is_asked_first_was_told_so():
    house = House.of(film())
    made = house.delivers("scan/A/R01", "halifax")
    house.opens()
    assert asked(house).told == ()
    house.does("grade/A/R01", "kolkata")
    house.gives_back("grade/A/R01")
    assert made
    assert asked(house).told == (Told(task="grade/A/R01/1", site="kolkata", start=0),)  # type: ignore[arg-type]


def test_a_person_means_at_once_and_a_plan_when_it_says():
    house = House.of(film())
    house.delivers("scan/A/R01", "halifax")
    house.opens()
    begins = START + timedelta(hours=30)
    house.says("oslo", SiteAsked(job="grade/A/R01/1", to="lisbon", begins=begins, reason="as planned"))
    assert asked(house).told == (Told(task="grade/A/R01/1", site="lisbon", start=30 * HOUR),)  # type: ignore[arg-type]
    house.says("oslo", SiteAsked(job="grade/A/R01/1", to="kolkata", reason="Lisbon's grader is ill"))
    assert asked(house).told == (Told(task="grade/A/R01/1", site="kolkata", start=0),)  # type: ignore[arg-type]


def test_a_stage_with_a_date_of_its_own_is_due_then():
    problem = asked(House.of(film(stage__grade={"due_days_before_premiere": 10})))
    due = datetime(2027, 2, 8, 18, tzinfo=UTC) - START
    assert task(problem, "grade/A/R01/1").due == int(due.total_seconds()) // 60


def test_what_is_delivered_is_accepted_where_it_is_received_by_its_date():
    delivery = {"received_by": "oslo", "accepted_by": ["oslo"], "due_days_before_premiere": 10}
    problem = asked(House.of(film(stage__edit=delivery)))
    acceptance = task(problem, "accept edit/P/R01/1")
    assert [choice.site for choice in acceptance.choices] == ["oslo/desk"]
    assert acceptance.due == int((datetime(2027, 2, 8, 18, tzinfo=UTC) - START).total_seconds()) // 60
    assert acceptance.after == ("edit/P/R01/1",)


def test_what_becomes_of_work_overnight_is_what_its_stage_says():
    problem = asked(House.of(film(stage__scan={"overnight": "one shift"}, stage__grade={"overnight": "runs on"})))
    assert task(problem, "scan/A/R01/1").overnight is Overnight.ONE_SHIFT
    assert task(problem, "grade/A/R01/1").overnight is Overnight.RUNS_ON
    edit = task(problem, "edit/P/R01/1")
    assert edit.overnight is Overnight.PAUSES
    assert edit.hand_on is not None
    assert edit.hand_on.reading == 20
    assert task(problem, "grade/A/R01/1").hand_on is None, "a grade stays with its grader"


def test_a_production_without_a_route_says_that_nothing_can_be_planned():
    house = House.founded(film=film(stage=[], site__halifax={"hands": {}, "rates": {}}))
    with pytest.raises(RefusedError, match="has no route, so nothing can be planned"):
        asked(house)


def test_the_premiere_is_the_last_date():
    problem = asked(House.of(film()))
    # 19:00 in Oslo is 18:00 UTC in February.
    assert problem.premiere == int((datetime(2027, 2, 18, 18, tzinfo=UTC) - START).total_seconds()) // 60
