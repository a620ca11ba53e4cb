"""Automatic jobs: one claim, one outcome, whoever is killed, silent or late on the way."""

import sys
import threading
from datetime import UTC, datetime, timedelta

import pytest

from relay.errors import LostRaceError
from relay.ledger.job_state import Standing
from relay.ledger.owed import machine_claims
from relay.store.keys import alive_key
from relay.transfer.handover import Sending, send
from tests.contracts.memory_store import MemoryStore
from tests.unit.ledger.rig import FakeClock
from tests.unit.workers.house import COORDINATOR, MAKE, SCAN, House, film, program
from workers.automatic import FailedTryError, _claim, able_to_do, do_job
from workers.life import Life
from workers.room import StoppedError
from workers.turn import Lane

JOB = "scan/A/R001/1"
ABLE = {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["scan"]}


@pytest.fixture
def house(tmp_path):
    house = House(tmp_path, film([{**SCAN, "lease": 5}], ABLE))
    with house.turn("lisbon") as turn:
        turn.look()
    return house


def job_of(house: House):
    return house.state().jobs[JOB]


def age_all(house: House, seconds: float) -> None:
    """Let the store's clock say that every sign of life was given that much longer ago."""
    import os

    for sign in (house.root / "store" / "alive").iterdir():
        given = sign.stat().st_mtime - seconds
        os.utime(sign, (given, given))


def test_a_job_is_claimed_for_a_lease_done_and_handed_in(house):
    with house.turn("lisbon") as turn:
        assert turn.run(Lane.DO) == 1
    job = job_of(house)
    assert (job.standing, job.holder, job.outcome) == (Standing.HANDED_IN, "lisbon", "A/R001/v1")
    assert [(claim.site, claim.lease, claim.until) for claim in job.past] == [("lisbon", 5, None)]
    kept = house.places("lisbon").sent / "A_R001_v1"
    assert sorted(path.name for path in kept.iterdir()) == ["frame.0086400.dpx", "frame.0086401.dpx"]
    assert list(house.places("lisbon").scratch.iterdir()) == []


def test_a_job_that_another_site_has_is_left_to_it(house):
    with house.turn("kolkata") as theirs:
        claim = _claim(theirs.desk, JOB)
    with house.turn("lisbon") as turn, pytest.raises(LostRaceError):
        do_job(turn.desk, turn.room, turn.life, JOB)
    assert job_of(house).claim.epoch == claim.epoch


def test_a_worker_that_was_killed_with_a_job_goes_on_under_the_same_claim(house):
    with house.turn("lisbon") as turn:
        epoch = _claim(turn.desk, JOB).epoch
        (house.places("lisbon").scratch / "scan_A_R001_1" / "output").mkdir(parents=True)
        (house.places("lisbon").scratch / "scan_A_R001_1" / "output" / "half.dpx").write_bytes(b"half")
    with house.turn("lisbon") as turn:  # a new process
        assert turn.run(Lane.DO) == 1
    job = job_of(house)
    assert (job.standing, [claim.epoch for claim in job.past]) == (Standing.HANDED_IN, [epoch])
    assert house.state().versions["A/R001/v1"].files == 2, "what the killed try had half-made is not in it"


def test_two_workers_of_one_site_never_do_one_job_at_once(house):
    with house.turn("lisbon") as first, house.turn("lisbon") as second, first.room.working_on(JOB) as mine:
        assert mine
        with pytest.raises(LostRaceError, match="another worker of lisbon"):
            do_job(second.desk, second.room, second.life, JOB)
    assert job_of(house).standing is Standing.OPEN


def test_a_claim_lapses_by_the_stores_time_when_no_sign_of_life_comes_and_not_before(house):
    with house.turn("lisbon") as turn:
        claim = _claim(turn.desk, JOB)
        turn.life.beat(JOB, claim.epoch)
    with house.turn("kolkata") as theirs:
        theirs.look()
    assert job_of(house).claim == claim
    age_all(house, 4)
    with house.turn("kolkata") as theirs:
        theirs.look()
    assert job_of(house).claim == claim
    age_all(house, 2)
    with house.turn("kolkata") as theirs:
        assert theirs.look() == 1
        assert theirs.run(Lane.DO) == 1
    job = job_of(house)
    assert (job.standing, job.holder) == (Standing.HANDED_IN, "kolkata")


def test_a_claim_whose_first_sign_never_came_lapses_one_lease_after_somebody_missed_it(house):
    with house.turn("lisbon") as turn:
        _claim(turn.desk, JOB)  # and killed right then
    with house.turn("kolkata") as theirs:
        assert theirs.look() == 0
    age_all(house, 6)
    with house.turn("kolkata") as theirs:
        assert theirs.look() == 1
    assert job_of(house).standing is Standing.OPEN


def test_what_a_former_holder_sends_late_is_kept_as_a_version_that_nobody_accepted(house):
    with house.turn("lisbon") as turn:
        claim = _claim(turn.desk, JOB)
        turn.life.beat(JOB, claim.epoch)
        age_all(house, 6)
        with house.turn("kolkata") as theirs:
            theirs.look()
            assert theirs.run(Lane.DO) == 1
        output = house.places("lisbon").scratch / "late"
        output.mkdir()
        (output / "frame.0086400.dpx").write_bytes(b"another picture")
        sent = send(turn.desk, Sending(output, "A/R001", job=JOB, may_grow=True))
    job = job_of(house)
    assert sent.came_late
    assert (job.outcome, job.holder, job.late) == ("A/R001/v1", "kolkata", ("A/R001/v2",))


@pytest.mark.parametrize("first", ["late work", "the holder's"])
def test_equal_bytes_by_the_former_and_the_present_holder_both_find_their_place(house, first):
    """Programs often make the same of the same input: neither may be taken for said because the other was."""
    with house.turn("lisbon") as turn, house.turn("kolkata") as theirs:
        _claim(turn.desk, JOB)
        turn.life.beat(JOB, turn.desk.ledger.state.jobs[JOB].claim.epoch)
        age_all(house, 6)
        theirs.look()
        _claim(theirs.desk, JOB)
        for place in ("lisbon", "kolkata"):
            output = house.places(place).scratch / "same"
            output.mkdir()
            (output / "frame.0086400.dpx").write_bytes(b"the same picture")
        both = [(turn.desk, "lisbon"), (theirs.desk, "kolkata")]
        for desk, site in both if first == "late work" else reversed(both):
            for _ in range(2):  # and a second time, as after a lost answer
                send(desk, Sending(house.places(site).scratch / "same", "A/R001", job=JOB, may_grow=True))
    job, versions = job_of(house), house.state().versions
    assert (job.standing, job.holder) == (Standing.HANDED_IN, "kolkata")
    assert [versions[name].by for name in job.late] == ["lisbon"]
    assert len(versions) == 2


def test_the_time_limit_is_a_failed_try_and_says_so(tmp_path):
    stage = {
        "name": "scan",
        "command": program("import time; print('frame 7', flush=True); time.sleep(600)"),
        "tries": 1,
    }
    house = House(tmp_path, film([{**stage, "time_limit": 2}], ABLE))
    with house.turn("lisbon") as turn:
        turn.look()
        assert turn.run(Lane.DO) == 0
    assert job_of(house).standing is Standing.STOPPED
    assert job_of(house).said == "frame 7\nstopped after its time limit of 2 s"


def test_a_program_that_is_not_installed_is_a_failed_try_and_says_so(tmp_path):
    house = House(tmp_path, film([{"name": "scan", "command": ["no-such-program", "{output}"], "tries": 1}], ABLE))
    with house.turn("lisbon") as turn:
        turn.look()
        with pytest.raises(FailedTryError, match="no-such-program"):
            do_job(turn.desk, turn.room, turn.life, JOB)
    assert "no-such-program cannot be started: No such file or directory" in job_of(house).said


def test_a_stop_leaves_the_job_claimed_and_the_next_start_does_it(tmp_path):
    slow = "import pathlib, sys, time\npathlib.Path(sys.argv[1]).write_text('x')\ntime.sleep(600)"
    mark = tmp_path / "began"
    house = House(tmp_path, film([{"name": "scan", "command": program(slow, str(mark))}], ABLE))
    room = house.room("lisbon")
    stopped = []

    def work() -> None:
        with house.turn("lisbon", room) as turn:
            turn.look()
            try:
                turn.run(Lane.DO)
            except StoppedError:
                stopped.append(True)

    worker = threading.Thread(target=work)
    worker.start()
    while not mark.exists():
        worker.join(0.02)
    room.stopping.set()
    worker.join(60)
    assert stopped == [True]
    job = job_of(house)
    assert (job.standing, job.failures) == (Standing.CLAIMED, 0)
    with house.turn("lisbon") as turn:
        assert [each.job for each in able_to_do(turn.desk.ledger.follow(), "lisbon")] == [JOB]


def test_the_input_is_handed_to_the_program_as_a_folder_and_words_are_filled_in(tmp_path):
    told = "import pathlib, sys\npathlib.Path(sys.argv[1], 'told.txt').write_text('|'.join(sys.argv[2:]))"
    words = ["{output}", "{job}", "{reel}", "in={input}", "{unknown}", "{job}{reel}"]
    stages = [SCAN, {"name": "check", "after": ["scan"], "command": program(told, *words)}]
    house = House(tmp_path, film(stages, {COORDINATOR: [], "lisbon": ["scan", "check"]}))
    with house.turn("lisbon") as turn:
        for lane in (Lane.LOOK, Lane.DO, Lane.RECEIVE, Lane.DO):
            turn.run(lane)
    scratch = house.places("lisbon").scratch / "check_A_R001_1" / "input" / "A_R001_v1"
    assert (house.places("lisbon").sent / "A_R001_v2" / "told.txt").read_text() == (
        f"check/A/R001/1|A/R001|in={scratch}|{{unknown}}|check/A/R001/1A/R001"
    )


def test_sites_begin_at_different_jobs_so_that_they_seldom_reach_for_the_same(tmp_path):
    rooms = {COORDINATOR: [], **{f"site-{n}": ["scan"] for n in range(5)}}
    house = House(tmp_path, film([SCAN], rooms, reels=12))
    with house.turn("site-0") as turn:
        turn.look()
        state = turn.desk.ledger.state
        firsts = {able_to_do(state, site)[0].job for site in rooms if site != COORDINATOR}
        assert len(firsts) == 5
        for site in rooms:
            if site != COORDINATOR:
                assert {job.job for job in able_to_do(state, site)} == set(state.jobs)


class Signs:
    """Life over a store in memory whose clock the test holds."""

    def __init__(self) -> None:
        self.clock = FakeClock()
        self.store = MemoryStore(self.clock)
        self.asked = 0
        ask = self.store.age

        def counted(key: str) -> float | None:
            self.asked += 1
            return ask(key)

        self.store.age = counted
        self.life = Life(self.store, self.clock)


def machine_job(lease: int = 60):
    from relay.ledger.job_state import Claim, Job

    since = datetime.now(UTC) - timedelta(days=400)  # by a clock that is far off: it must not matter
    return Job(
        "scan/A/R001/1",
        "scan",
        "A/R001",
        (),
        (),
        opened=3,
        since=since,
        given=3,
        given_at=since,
        standing=Standing.CLAIMED,
        claim=Claim("lisbon", 9, since, lease),
    )


def test_a_sign_of_life_counts_by_the_stores_clock_alone():
    signs, job = Signs(), machine_job()
    signs.life.beat(job.job, 9)
    signs.clock.wait(60)
    assert signs.life.lapsed(job) is None
    signs.clock.wait(1)
    assert signs.life.lapsed(job) is not None


def test_a_claim_is_not_looked_at_more_often_than_it_can_lapse():
    signs, job = Signs(), machine_job()
    signs.life.beat(job.job, 9)
    for _ in range(59):
        assert signs.life.lapsed(job) is None
        signs.clock.wait(1)
    assert signs.asked == 1


def test_a_claim_without_any_sign_is_given_one_lease():
    signs, job = Signs(), machine_job()
    assert signs.life.lapsed(job) is None
    signs.clock.wait(59)
    assert signs.life.lapsed(job) is None
    signs.clock.wait(3)
    assert signs.life.lapsed(job) is not None


def test_every_claim_of_a_job_has_a_place_of_its_own_for_signs():
    assert alive_key("scan/A/R001/1", 9) != alive_key("scan/A/R001/1", 10)
    assert alive_key("scan/A/R001/1", 9) != alive_key("scan/A/R002/1", 9)


def test_a_heart_beats_until_the_work_is_over_also_while_the_store_is_away_for_a_moment():
    from relay.errors import TransientError

    signs = Signs()
    beats, away, enough = [], [True], threading.Event()

    def beat(key: str) -> None:
        beats.append(key)
        if len(beats) == 3:
            enough.set()
        if len(beats) == 2:
            raise TransientError("the store is away")

    signs.store.beat = beat
    with signs.life.beating("scan/A/R001/1", 9, 0.04):  # a lease of 40 ms: a beat every 10 ms
        assert enough.wait(60)
    assert set(beats) == {alive_key("scan/A/R001/1", 9)}
    assert away


def test_machine_claims_are_those_with_a_lease(house):
    with house.turn("lisbon") as turn:
        _claim(turn.desk, JOB)
    assert [job.job for job in machine_claims(house.state())] == [JOB]


def test_programs_of_these_tests_need_nothing_installed(tmp_path):
    import subprocess

    subprocess.run([sys.executable, "-I", "-S", "-c", MAKE, str(tmp_path), "x"], check=True)
    assert len(list(tmp_path.iterdir())) == 2


def test_a_job_whose_input_was_damaged_only_on_its_way_is_tried_again_without_a_mending():
    from relay.ledger.words import ReceiptSigned
    from tests.unit.ledger.job_scene import floor
    from tests.unit.ledger.scene import version
    from workers.automatic import waits_for_mending

    told = floor(stages=[{"name": "scan"}, {"name": "check", "after": ["scan"]}], elements={"A": 1})
    told.opens()
    told.delivers("scan/A/R01")
    told.opens()
    for where, waits in (("arrival", False), ("bucket", True), ("arrival", False)):
        fault = {"path": "1.dpx", "what": "changed", "where": where}
        said = {"version": "A/R01/v1", "manifest": version("A/R01", 1).manifest, "whole": False}
        told.says("kolkata", ReceiptSigned.model_validate({**said, "faults": [fault], "faults_in_all": 1}))
        assert waits_for_mending(told.state, told.job("check/A/R01"), "kolkata") is waits
