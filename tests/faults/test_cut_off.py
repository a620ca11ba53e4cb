"""A site that is cut off for seven days, and back: nothing is lost, nobody's work counts as another's, all is shown."""

import os
from datetime import timedelta

import pytest

from relay.clock import SYSTEM_CLOCK
from relay.errors import RefusedError, TransientError
from relay.ledger import work
from relay.ledger.job_state import Standing
from relay.ledger.lateness import warnings_of
from relay.ledger.notices import notices_for
from relay.model import digest_of
from relay.store.keys import object_key
from relay.wiring import open_store
from tests.faults.distant import CutLine, desk_at, turn_at
from tests.faults.workers_crew import Account, projection_from_the_bucket_alone, told
from tests.unit.workers.house import COORDINATOR, SCAN, House, fill, film, reel_of_frames
from workers.automatic import _claim
from workers.places import folder_name
from workers.turn import Lane

AWAY = "lisbon"
SITES = {COORDINATOR: [], AWAY: ["scan", "count"], "kolkata": ["scan", "count"]}
STAGES = [{"name": "scan"}, {**SCAN, "name": "count", "of": ["A/R004"], "lease": 300}]
REELS = ["A/R001", "A/R002", "A/R003"]
REASSIGNED, TAKEN, STILL_OURS = (f"scan/{reel}/1" for reel in REELS)
WEEK = timedelta(days=7)


@pytest.fixture
def house(tmp_path):
    house = House(tmp_path, film(STAGES, SITES, reels=4))
    with house.desk(COORDINATOR) as desk:
        work.open_due(desk.ledger, desk.pen)
    return house


def days(number: int):
    return lambda: timedelta(days=number)


def what_the_others_do(house: House) -> None:
    """On the third day the coordinator reassigns two of the three jobs; one of them is done, the other is begun."""
    with desk_at(house, COORDINATOR, days(3)) as desk:
        state = desk.ledger.follow()
        for job in (REASSIGNED, TAKEN):
            assert "not finished in time" in warnings_of(state, state.jobs[job], desk.clock.now())[0]
            work.reassign(desk.ledger, desk.pen, job, "kolkata", "lisbon does not answer")
    with turn_at(house, "kolkata", days(4)) as turn:
        for job in (REASSIGNED, TAKEN):
            work.claim(turn.desk.ledger, turn.desk.pen, job)
        fill(house.places("kolkata").to_send / "A_R001", reel_of_frames(seed=99))
        assert turn.run(Lane.SEND) == 1
        for sign in (house.root / "store/alive").iterdir():
            os.utime(sign, (SYSTEM_CLOCK.now().timestamp() - 4 * 86400,) * 2)
        turn.run(Lane.LOOK)
        turn.run(Lane.DO)
    with turn_at(house, COORDINATOR, days(5)) as turn:
        turn.run(Lane.RECEIVE)
        work.accept(turn.desk.ledger, turn.desk.pen, REASSIGNED)


def test_a_site_that_was_cut_off_for_seven_days_comes_back_and_nothing_is_lost(house):
    made = {reel: reel_of_frames(seed=number) for number, reel in enumerate(REELS)}
    with house.desk(AWAY) as desk:
        line = CutLine(desk.store)
    with turn_at(house, AWAY, store=line) as turn:
        later = SYSTEM_CLOCK.now() + timedelta(days=2)
        for job in (REASSIGNED, TAKEN, STILL_OURS):
            work.claim(turn.desk.ledger, turn.desk.pen, job, later)
        machine = _claim(turn.desk, "count/A/R004/1")
        turn.life.beat("count/A/R004/1", machine.epoch)
        line.is_cut = True
        for reel, files in made.items():
            fill(house.places(AWAY).to_send / folder_name(reel), files)
        for lane in (Lane.LOOK, Lane.SEND, Lane.DO, Lane.RECEIVE):
            with pytest.raises(TransientError):
                turn.run(lane)
    assert len(list(house.places(AWAY).to_send.iterdir())) == len(REELS), "what was made waits, without a note"

    what_the_others_do(house)

    line.is_cut = False
    with turn_at(house, AWAY, days(7), line) as turn:
        with pytest.raises(RefusedError, match="is not lisbon's: it is accepted"):
            work.extend(turn.desk.ledger, turn.desk.pen, REASSIGNED, SYSTEM_CLOCK.now() + WEEK * 2)
        turn.run(Lane.LOOK)
        assert turn.run(Lane.SEND) == len(REELS)
        turn.run(Lane.DO)
        state = turn.desk.ledger.follow()
    assert list(house.places(AWAY).to_send.iterdir()) == []

    jobs = state.jobs
    assert (jobs[REASSIGNED].standing, jobs[REASSIGNED].outcome) == (Standing.ACCEPTED, "A/R001/v1")
    assert state.versions["A/R001/v1"].by == "kolkata"
    assert jobs[REASSIGNED].late == ("A/R001/v2",)
    assert (jobs[TAKEN].claim.site, jobs[TAKEN].late) == ("kolkata", ("A/R002/v1",))
    assert (jobs[STILL_OURS].standing, jobs[STILL_OURS].holder, jobs[STILL_OURS].late) == (Standing.HANDED_IN, AWAY, ())
    assert jobs["count/A/R004/1"].holder == "kolkata", "a machine's claim had lapsed, and another machine did it"

    shown = {job: " ".join(warnings_of(state, jobs[job], SYSTEM_CLOCK.now() + WEEK)) for job in (REASSIGNED, TAKEN)}
    assert shown[REASSIGNED] == "late work is kept, unaccepted: A/R001/v2"
    assert "late work is kept, unaccepted: A/R002/v1" in shown[TAKEN]
    notices = [note for note in notices_for(state, COORDINATOR, SYSTEM_CLOCK.now() + WEEK) if note.kind == "came late"]
    assert [note.name for note in notices] == [f"came late {REASSIGNED} A/R001/v2", f"came late {TAKEN} A/R002/v1"]
    assert "`relay reel compare A/R001/v1 A/R001/v2`" in notices[0].text

    store = open_store(house.store)
    for files in made.values():
        assert all(store.read(object_key(digest_of(body))) == body for body in files.values())
    account = Account(told(house))
    assert account.faults == []
    assert account.handed_in == {REASSIGNED: 1, STILL_OURS: 1, "count/A/R004/1": 1}
    states = {site: house.state(site).projection() for site in SITES}
    assert set(states.values()) == {projection_from_the_bucket_alone(house, house.root / "stranger")}
