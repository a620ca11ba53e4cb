"""The coordinator's worker asks the planned site first; and whoever closes is told to whom the work goes."""

import sys
from datetime import UTC, datetime, timedelta

import pytest

from relay.clock import Pace
from relay.doorbell import Ringer
from relay.ledger import owed, roster, work
from relay.ledger.job_words import JobHandedIn, SiteAsked
from relay.ledger.state import State
from relay.model import Production
from relay.shifts.public_holidays import holidays_of
from tests.unit.ledger.scene import version
from tests.unit.workers.house import COORDINATOR, House, film
from tests.unit.workers.test_doorbell import Bell
from workers import planning
from workers.turn import Lane, Turn

MONDAY = datetime(2027, 1, 4, 8, tzinfo=UTC)
DAYS = [{"from": "08:00", "to": "16:00"}]  # the sites' zone is UTC
NIGHTS = [{"from": "16:00", "to": "00:00"}]


class Elsewhen(House):
    """A house on whose clocks it is `when`; a minute of waiting is a minute there, too."""

    when = MONDAY

    def home(self, site: str):
        begun = datetime.now(UTC)
        return super().home(site).model_copy(update={"pace": Pace(1, begun, self.when)})


def production(
    stages: list[dict], rooms: dict[str, list[str]], shifts: dict[str, list[dict]], reels: int = 1
) -> Production:
    told = film(
        stages, rooms, reels=reels, premiere={"at": "2027-03-01T20:00:00", "zone": "UTC", "venue": "The harbour hall"}
    )
    plain = told.model_dump(mode="json", by_alias=True, exclude_none=True)
    for site in plain["site"]:
        site["shift"] = shifts.get(site["name"], [])
        site["line"] = 100_000
    for reel in plain["element"][0]["reel"]:
        reel["frames"] = 8000
    return Production.model_validate(plain)


SCAN = {"name": "scan", "rate": 1000, "may_move": True, "hand_over": 10}
ROOMS = {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["scan"]}


@pytest.fixture(autouse=True)
def short_looks(monkeypatch):
    """A plan of two jobs needs no second."""
    monkeypatch.setattr(planning, "SECONDS", 0.02)


@pytest.fixture
def house(tmp_path) -> Elsewhen:
    return Elsewhen(tmp_path, production([SCAN], ROOMS, {"lisbon": DAYS, "kolkata": NIGHTS}))


def asked(house: Elsewhen, site: str = COORDINATOR, *, bell: Bell | None = None) -> State:
    """Let a site look and plan, and return what is true then."""
    with house.turn(site, house.room(site, bell=bell or Bell())) as turn:
        look_and_plan(turn)
    return house.state()


def revised(house: Elsewhen, name: str, **changes: object) -> None:
    plain = house.film.model_dump(mode="json", by_alias=True, exclude_none=True)
    next(site for site in plain["site"] if site["name"] == name).update(changes)
    with house.desk(COORDINATOR) as desk:
        roster.revise(desk.ledger, desk.pen, Production.model_validate(plain), "it turned out otherwise")


def look_and_plan(turn: Turn) -> None:
    turn.run(Lane.LOOK)
    if Lane.PLAN in turn.wanted():
        turn.run(Lane.PLAN)


def test_an_open_job_is_asked_of_the_site_that_is_awake(house: Elsewhen):
    bell = Bell()
    job = asked(house, bell=bell).jobs["scan/A/R001/1"]
    assert (job.prefers, job.begins) == ("lisbon", house.when)
    assert job.reason.startswith("planned: nothing holds it up")
    assert ({"lisbon"}, set(), "scan/A/R001/1") in bell.rung, "it is woken"


def test_a_job_that_opens_or_is_given_back_wakes_whoever_plans(house: Elsewhen):
    with house.desk("lisbon") as desk:
        desk.ledger.follow()
        bell = Bell()
        ringer = Ringer(bell, desk.ledger, "lisbon")
        work.open_due(desk.ledger, desk.pen)
        ringer.ring()
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
        ringer.ring()
        work.release(desk.ledger, desk.pen, "scan/A/R001", "the lamp broke")
        ringer.ring()
    assert [COORDINATOR in sites for sites, _, _ in bell.rung] == [True, False, True]


def test_at_another_hour_another_site_is_asked(house: Elsewhen):
    house.when = MONDAY + timedelta(hours=9)  # 17:00: Lisbon sleeps
    assert asked(house).jobs["scan/A/R001/1"].prefers == "kolkata"


def test_planning_again_says_nothing_twice(house: Elsewhen):
    before = asked(house).sequence
    assert asked(house).sequence == before
    assert asked(house).sequence == before


def test_only_the_coordinator_s_worker_asks(house: Elsewhen):
    assert asked(house, "lisbon").jobs["scan/A/R001/1"].prefers is None


def test_what_a_person_asked_no_plan_changes(house: Elsewhen):
    asked(house)
    with house.desk(COORDINATOR) as desk:
        work.reassign(desk.ledger, desk.pen, "scan/A/R001", "kolkata", "Lisbon's gate is being mended")
    job = asked(house).jobs["scan/A/R001/1"]
    assert (job.prefers, job.reason) == ("kolkata", "Lisbon's gate is being mended")
    assert house.state().sequence == asked(house).sequence


def test_what_a_person_asked_stays_so_even_where_no_plan_could_be_made_of_it(house: Elsewhen):
    asked(house)
    with house.desk(COORDINATOR) as desk:
        work.reassign(desk.ledger, desk.pen, "scan/A/R001", "kolkata", "they come in on Sunday for it")
    revised(house, "kolkata", closed=[{"from": "2027-01-01", "to": "2027-12-31"}])
    assert asked(house).jobs["scan/A/R001/1"].prefers == "kolkata"


def test_a_plan_changes_when_the_asked_site_cannot(house: Elsewhen):
    asked(house)
    revised(house, "lisbon", closed=[{"from": "2027-01-01", "to": "2027-12-31"}])
    assert asked(house).jobs["scan/A/R001/1"].prefers == "kolkata"


GRADE = {"name": "grade", "after": ["scan"], "rate": 2000}


@pytest.fixture
def chain(tmp_path) -> Elsewhen:
    """Lisbon scans a reel; Halifax grades by day, Kolkata in the evening, when the scan is done."""
    rooms = {COORDINATOR: [], "lisbon": ["scan"], "halifax": ["grade"], "kolkata": ["grade"]}
    shifts = {"lisbon": DAYS, "halifax": DAYS, "kolkata": NIGHTS}
    made = Elsewhen(tmp_path, production([SCAN, GRADE], rooms, shifts))
    with made.desk("lisbon") as desk:
        work.open_due(desk.ledger, desk.pen)
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
    return made


def handed_in(house: Elsewhen, reel: str) -> Bell:
    """Let Lisbon hand in its scan, and return who was woken."""
    with house.desk("lisbon") as desk:
        desk.ledger.follow()
        bell = Bell()
        ringer = Ringer(bell, desk.ledger, "lisbon")
        made = version(reel, 1)
        job = desk.ledger.state.jobs[f"scan/{reel}/1"]
        handed = JobHandedIn(job=job.job, epoch=job.claim.epoch, version=made.version)
        desk.ledger.append(desk.pen, lambda _state, _now: [made, handed])
        ringer.ring()
    return bell


def test_the_site_that_the_plan_has_next_is_woken_and_receives_when_a_claim_ends(chain: Elsewhen):
    assert [owed.receiver_of(chain.state(), chain.state().jobs["scan/A/R001/1"])] == ["halifax"], "spread by reel"
    expected = asked(chain).expected["grade/A/R001/1"]
    assert (expected.site, expected.begins) == ("kolkata", MONDAY + timedelta(hours=8, minutes=1))
    assert expected.reason.startswith("planned: scan of A/R001 is there")

    bell = handed_in(chain, "A/R001")
    assert bell.rung[-1] == ({"kolkata"}, set(), "A/R001/v1")
    sites = [site.name for site in chain.film.sites]
    assert [site for site in sites if owed.to_receive(chain.state(), site)] == ["kolkata"]


def test_whom_a_person_expects_no_plan_changes(chain: Elsewhen):
    asked(chain)
    with chain.desk(COORDINATOR) as desk:
        work.reassign(desk.ledger, desk.pen, "grade/A/R001", "halifax", "Kolkata's grader is ill")
    expected = asked(chain).expected["grade/A/R001/1"]
    assert (expected.site, expected.begins, expected.reason) == ("halifax", None, "Kolkata's grader is ill")
    revised(chain, "halifax", closed=[{"from": "2027-01-01", "to": "2027-12-31"}])
    assert asked(chain).expected["grade/A/R001/1"].site == "halifax", "though no plan could be made of it"
    assert handed_in(chain, "A/R001").rung[-1] == ({"halifax"}, set(), "A/R001/v1")


def test_whoever_is_expected_after_the_work_was_handed_in_is_woken_then(chain: Elsewhen):
    chain.when = MONDAY + timedelta(hours=8, minutes=30)  # Halifax has gone home
    handed_in(chain, "A/R001")
    bell = Bell()
    asked(chain, bell=bell)
    assert ({"kolkata"}, set()) in [(sites & {"kolkata", "halifax"}, stages) for sites, stages, _ in bell.rung]


def test_whoever_is_expected_is_told_once(chain: Elsewhen):
    before = asked(chain).sequence
    assert asked(chain).sequence == before


def test_where_nobody_said_when_people_work_nobody_is_asked(tmp_path):
    house = Elsewhen(tmp_path, production([SCAN], ROOMS, {}))
    assert asked(house).jobs["scan/A/R001/1"].prefers is None


def test_half_an_hour_before_closing_people_are_told_to_whom_their_work_goes(house: Elsewhen):
    house.when = MONDAY + timedelta(hours=4)  # noon: four of eight hours are left in Lisbon
    asked(house, "lisbon")
    with house.desk("lisbon") as desk:
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
    for at, is_told in [(timedelta(hours=5), False), (timedelta(hours=7, minutes=40), True)]:
        house.when, bell = MONDAY + at, Bell()
        room = house.room("lisbon", bell=bell)
        with house.turn("lisbon", room) as turn:
            look_and_plan(turn)
            assert Lane.PLAN not in turn.wanted(), "once for each evening"
        assert [notice.kind for notice in room.plans.notices] == (["day ends"] if is_told else [])
        assert bell.rung == ([({"lisbon", "kolkata"}, set(), "scan/A/R001/1")] if is_told else [])
    assert room.plans.notices[0].text.startswith("You close at 16:00 UTC, and scan/A/R001/1 goes on soonest at kolkata")
    assert "`relay hand-on scan/A/R001/1 --to kolkata" in room.plans.notices[0].text


def test_a_site_that_plans_its_evening_asks_nobody_for_open_jobs(tmp_path, caplog):
    house = Elsewhen(tmp_path, production([SCAN], ROOMS, {"lisbon": DAYS, "kolkata": NIGHTS}, reels=2))
    house.when = MONDAY + timedelta(hours=7, minutes=40)
    asked(house, "lisbon")
    with house.desk("lisbon") as desk:
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
    room = house.room("lisbon")
    with house.turn("lisbon", room) as turn:
        look_and_plan(turn)
    assert room.plans.evening is not None
    assert house.state().jobs["scan/A/R002/1"].prefers is None
    assert "may not say who is asked first" not in caplog.text


def test_nobody_is_told_in_the_evening_of_what_is_handed_on_another_day(tmp_path):
    """At 500 frames an hour the reel takes 16 hours. Kolkata's night is off on Monday: Lisbon goes on until Tuesday."""
    shifts = {"lisbon": DAYS, "kolkata": NIGHTS}
    house = Elsewhen(tmp_path, production([{**SCAN, "rate": 500}], ROOMS, shifts))
    revised(house, "kolkata", closed=[{"from": "2027-01-04", "to": "2027-01-04"}])
    house.when = MONDAY + timedelta(hours=4)
    asked(house, "lisbon")
    with house.desk("lisbon") as desk:
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
    for days, told in [(0, []), (1, ["scan/A/R001/1"])]:
        house.when = MONDAY + timedelta(days=days, hours=7, minutes=40)
        bell = Bell()
        with house.turn("lisbon", house.room("lisbon", bell=bell)) as turn:
            look_and_plan(turn)
        assert [about for _, _, about in bell.rung] == told


def test_what_keeps_plans_from_being_made_is_told_and_stops_nothing_else(house: Elsewhen, monkeypatch, caplog):
    revised(house, "lisbon", holidays={"country": "PT"})
    asked(house, "lisbon")
    with house.desk("lisbon") as desk:
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
    monkeypatch.setitem(sys.modules, "holidays", None)
    holidays_of.cache_clear()
    with house.turn("lisbon") as turn:
        turn.run(Lane.LOOK)
        assert Lane.PLAN in turn.wanted()
        assert turn.run(Lane.PLAN) == 0
    assert "pip install 'relay-handoff[planning]'" in caplog.text
    holidays_of.cache_clear()


def test_a_production_that_cannot_be_planned_keeps_no_other_lane_waiting(tmp_path, caplog):
    nobody = {COORDINATOR: [], "lisbon": []}
    house = Elsewhen(tmp_path, production([SCAN], nobody, {"lisbon": DAYS}))
    asked(house)
    assert "No site can do scan of A/R001" in caplog.text
    with house.turn(COORDINATOR) as turn:
        assert turn.run(Lane.LOOK) == 0
        assert turn.run(Lane.RECEIVE) == 0


def test_the_words_that_were_said_are_the_coordinator_s(house: Elsewhen):
    asked(house)
    with house.desk("kolkata") as desk:
        desk.ledger.follow()
        from relay.ledger.entry import read_entry

        raws = desk.ledger.entries()
        body = read_entry(raws[-1], len(raws) - 1).body
    assert body.by == COORDINATOR
    assert [type(word) for word in body.words] == [SiteAsked]
