"""A site's turn: what is owed is found in the ledger and done, and one thing that goes wrong keeps nothing waiting."""

import pytest

from relay.errors import RefusedError, TransientError
from relay.ledger import work
from relay.ledger.job_state import Standing
from relay.ledger.route import has_arrived
from relay.model import digest_of
from relay.store.keys import object_key
from tests.unit.workers.house import CHECK, COORDINATOR, SCAN, House, fill, film, program, reel_of_frames
from workers.places import folder_name
from workers.turn import Lane

PEOPLE = [{"name": "scan"}, {"name": "grade", "after": ["scan"]}]
ROOMS = {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["grade"]}


POISON = """
import pathlib, sys
print("a word", flush=True)
if "R001" in sys.argv[1]:
    sys.exit("no leader found")
pathlib.Path(sys.argv[2], "leader.txt").write_text("found")
"""


@pytest.fixture
def house(tmp_path):
    return House(tmp_path, film(PEOPLE, ROOMS))


def go(house: House, site: str, *lanes: Lane) -> list[int]:
    with house.turn(site) as turn:
        return [turn.run(lane) for lane in lanes]


def all_rounds(house: House, *sites: str) -> None:
    """Let every site take turns until nobody finds anything to do."""
    while any(sum(go(house, site, *[lane for lane in Lane if lane is not Lane.FIXITY])) for site in sites):
        pass


def test_looking_opens_what_the_route_asks_for_and_looking_again_says_nothing(house):
    assert go(house, "lisbon", Lane.LOOK, Lane.LOOK) == [1, 0]
    assert list(house.state().jobs) == ["scan/A/R001/1"]


def test_a_reel_goes_from_one_sites_to_send_into_the_next_ones_arrived(house):
    go(house, "lisbon", Lane.LOOK)
    with house.desk("lisbon") as desk:
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
    files = reel_of_frames()
    fill(house.places("lisbon").to_send / "A_R001", files)
    all_rounds(house, "lisbon", "kolkata", COORDINATOR)
    state = house.state()
    assert state.jobs["scan/A/R001/1"].standing is Standing.HANDED_IN
    assert state.jobs["grade/A/R001/1"].standing is Standing.OPEN
    assert state.jobs["grade/A/R001/1"].inputs == ("A/R001/v1",)
    arrived = house.places("kolkata").arrived / "A_R001_v1"
    assert {path.name: path.read_bytes() for path in arrived.iterdir()} == files
    assert has_arrived(state, "A/R001/v1")
    assert [path.name for path in house.places("lisbon").sent.iterdir()] == ["A_R001_v1"]
    assert list(house.places("lisbon").to_send.iterdir()) == []


def test_automatic_stages_flow_without_anybody(tmp_path):
    house = House(tmp_path, film([SCAN, CHECK], {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["check"]}, reels=3))
    all_rounds(house, "lisbon", "kolkata", COORDINATOR)
    standings = {job.job: job.standing for job in house.state().jobs.values()}
    assert standings == {
        f"{stage}/A/R00{reel}/1": Standing.HANDED_IN for reel in (1, 2, 3) for stage in ("scan", "check")
    }
    assert house.state().versions["A/R001/v2"].parents == ("A/R001/v1",)


def test_what_is_bad_in_the_bucket_is_refused_mended_by_whoever_may_and_fetched_again(house):
    go(house, "lisbon", Lane.LOOK)
    with house.desk("lisbon") as desk:
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
    files = reel_of_frames()
    fill(house.places("lisbon").to_send / "A_R001", files)
    go(house, "lisbon", Lane.SEND)
    name, body = sorted(files.items())[1]
    stored = house.root / "store" / object_key(digest_of(body))
    stored.chmod(0o644)
    stored.write_bytes(bytes([body[0] ^ 1]) + body[1:])

    go(house, "kolkata", Lane.RECEIVE)
    refused = house.state().versions["A/R001/v1"].receipts[-1]
    assert (refused.whole, [fault.path for fault in refused.faults]) == (False, [name])
    assert not (house.places("kolkata").arrived / "A_R001_v1").exists()
    assert go(house, "kolkata", Lane.RECEIVE) == [0], "nothing was mended: there is nothing new to fetch"

    assert go(house, "lisbon", Lane.MEND, Lane.MEND) == [1, 0]
    assert stored.read_bytes() == body
    all_rounds(house, "kolkata")
    assert house.state().versions["A/R001/v1"].receipts[-1].whole
    assert (house.places("kolkata").arrived / "A_R001_v1" / name).read_bytes() == body


def test_a_version_that_cannot_land_keeps_the_others_not_waiting(tmp_path):
    house = House(tmp_path, film(PEOPLE, ROOMS, reels=2))
    go(house, "lisbon", Lane.LOOK)
    for reel in ("A/R001", "A/R002"):
        with house.desk("lisbon") as desk:
            work.claim(desk.ledger, desk.pen, f"scan/{reel}")
        fill(house.places("lisbon").to_send / folder_name(reel), reel_of_frames())
    go(house, "lisbon", Lane.SEND)
    in_the_way = fill(house.places("kolkata").arrived / "A_R001_v1", {"holiday.jpg": b"a beach"})
    assert go(house, "kolkata", Lane.RECEIVE) == [1]
    assert (house.places("kolkata").arrived / "A_R002_v1").is_dir()
    note = house.places("kolkata").arrived / "A_R001_v1.PROBLEM.txt"
    assert "lies at" in note.read_text()
    assert [path.name for path in in_the_way.iterdir()] == ["holiday.jpg"]

    (in_the_way / "holiday.jpg").unlink()
    assert go(house, "kolkata", Lane.RECEIVE) == [1]
    assert not note.exists()


def test_a_job_that_cannot_be_done_stops_after_its_tries_with_its_last_words_and_holds_nobody_up(tmp_path):
    stage = {"name": "scan", "command": program(POISON, "{job}", "{output}"), "tries": 2}
    house = House(tmp_path, film([stage], {COORDINATOR: [], "lisbon": ["scan"]}, reels=3))
    go(house, "lisbon", Lane.LOOK)
    assert go(house, "lisbon", Lane.DO, Lane.DO, Lane.DO) == [2, 0, 0]
    jobs = house.state().jobs
    assert [jobs[f"scan/A/R00{n}/1"].standing for n in (1, 2, 3)] == [
        Standing.STOPPED,
        Standing.HANDED_IN,
        Standing.HANDED_IN,
    ]
    stopped = jobs["scan/A/R001/1"]
    assert (stopped.failures, len(stopped.past)) == (2, 2)
    assert stopped.said.startswith("a word\nno leader found\n")
    assert stopped.said.endswith("ended with exit code 1")
    assert list(house.places("lisbon").scratch.iterdir()) == [], "nothing of the tries is left lying about"

    with house.desk(COORDINATOR) as desk:
        work.restart(desk.ledger, desk.pen, "scan/A/R001", "the leader was found")
    go(house, "lisbon", Lane.DO)
    assert house.state().jobs["scan/A/R001/1"].failures == 1


def test_a_program_that_makes_nothing_or_what_no_package_may_hold_has_failed(tmp_path):
    bad = "import os, sys; os.symlink('/etc/passwd', sys.argv[2] + '/link') if 'R001' in sys.argv[1] else None"
    stage = {"name": "scan", "command": program(bad, "{job}", "{output}"), "tries": 1}
    house = House(tmp_path, film([stage], {COORDINATOR: [], "lisbon": ["scan"]}, reels=2))
    go(house, "lisbon", Lane.LOOK, Lane.DO)
    jobs = house.state().jobs
    assert {job.standing for job in jobs.values()} == {Standing.STOPPED}
    assert "is a link, expected a file" in jobs["scan/A/R001/1"].said
    assert "nothing was sent" in jobs["scan/A/R002/1"].said


def test_what_failed_is_left_alone_for_a_while_that_doubles_and_is_forgotten_when_it_goes_well(house):
    from tests.unit.ledger.rig import FakeClock
    from workers.patience import Patience

    clock = FakeClock()
    patience = Patience(clock, 60.0)
    for wait in (60, 120, 240, 480, 600, 600):
        patience.failed("send A_R001", RefusedError("no"))
        clock.wait(wait - 1)
        assert not patience.allows("send A_R001")
        clock.wait(1)
        assert patience.allows("send A_R001")
    assert patience.allows("send A_R002")
    patience.succeeded("send A_R001")
    patience.failed("send A_R001", RefusedError("no"))
    clock.wait(60)
    assert patience.allows("send A_R001")


def test_a_job_whose_input_rots_is_given_back_and_not_tried_again_before_it_is_mended(tmp_path):
    house = House(tmp_path, film([SCAN, CHECK], {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["check"]}))
    go(house, "lisbon", Lane.LOOK, Lane.DO)
    go(house, "kolkata", Lane.RECEIVE)
    made = min((house.places("lisbon").sent / "A_R001_v1").iterdir()).read_bytes()
    stored = house.root / "store" / object_key(digest_of(made))
    stored.chmod(0o644)
    stored.write_bytes(b"rotten")
    for path in (house.places("kolkata").arrived / "A_R001_v1").iterdir():
        path.write_bytes(b"edited here")
    assert go(house, "kolkata", Lane.DO, Lane.DO) == [0, 0]
    job = house.state().jobs["check/A/R001/1"]
    assert (job.standing, job.failures, len(job.past)) == (Standing.OPEN, 0, 1)
    assert "did not arrive whole" in job.reason

    go(house, "lisbon", Lane.MEND)
    assert go(house, "kolkata", Lane.DO) == [1]
    assert house.state().jobs["check/A/R001/1"].standing is Standing.HANDED_IN


def test_looking_finds_the_lanes_that_have_something_to_do(house):
    with house.turn("lisbon") as turn:
        turn.look()
        assert turn.wanted() == set()
        fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
        assert turn.wanted() == {Lane.SEND}


def test_a_disk_that_is_not_there_is_a_trouble_that_passes(house):
    with house.turn("lisbon") as turn:
        turn.room.places.to_send.rmdir()
        with pytest.raises(TransientError, match="to-send"):
            turn.run(Lane.SEND)
        turn.room.places.open()
        assert turn.run(Lane.SEND) == 0
