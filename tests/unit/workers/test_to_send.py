"""`to-send/`: finished folders are sent for the right reel and job, half-copied ones are not, and notes say why."""

import json
import os
import time
from datetime import UTC, datetime, timedelta

import pytest

from relay.errors import RefusedError
from relay.ledger import work
from relay.ledger.job_state import Standing
from tests.unit.workers.house import COORDINATOR, SCAN, House, fill, film, reel_of_frames
from workers.slip import HIDDEN, slip_of
from workers.to_send import finished_folders, reel_of_folder
from workers.turn import Lane

STAGES = [{"name": "scan"}, {"name": "grade", "after": ["scan"]}]


@pytest.fixture
def house(tmp_path):
    return House(tmp_path, film(STAGES, {COORDINATOR: [], "lisbon": ["scan", "grade"], "kolkata": ["scan"]}))


def send(house: House, site: str = "lisbon", **how: object) -> int:
    with house.turn(site, house.room(site, **how)) as turn:
        turn.run(Lane.LOOK)
        return turn.run(Lane.SEND)


def sent(house: House) -> list[str]:
    return list(house.state().versions)


def test_a_folder_that_changed_a_moment_ago_is_left_alone_until_it_has_settled(house):
    fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
    send(house, settle=300.0)
    assert sent(house) == []
    send(house, settle=-1.0)
    assert sent(house) == ["A/R001/v1"]


def test_an_old_date_on_a_file_that_is_being_copied_deceives_nobody(house):
    """Copies keep the date of the original: cp -p, rsync -t (their manuals). The change time cannot be kept."""
    folder = fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
    for path in folder.iterdir():
        os.utime(path, (1_000_000_000, 1_000_000_000))
    assert finished_folders(house.room("lisbon", settle=300.0)) == []


def test_a_marker_beside_the_folder_says_that_it_is_finished(house):
    to_send = house.places("lisbon").to_send
    fill(to_send / "A_R001", reel_of_frames())
    (to_send / "A_R001.finished").touch()
    send(house, settle=300.0)
    assert sent(house) == ["A/R001/v1"]
    assert list(to_send.iterdir()) == []


@pytest.mark.parametrize("name", ["frame.dpx.part", ".frame.0086400.dpx.Ab3dE9", "~frame.dpx", "mix.wav.filepart"])
def test_a_file_that_a_copying_program_has_not_renamed_yet_keeps_the_folder_here_with_a_note(house, name):
    to_send = house.places("lisbon").to_send
    fill(to_send / "A_R001", {**reel_of_frames(), name: b"half"})
    send(house)
    assert sent(house) == []
    assert f"{name} bears the name of a file that is still being copied" in (to_send / "A_R001.PROBLEM.txt").read_text()
    (to_send / "A_R001" / name).unlink()
    send(house)
    assert sent(house) == ["A/R001/v1"]
    assert list(to_send.iterdir()) == []


def test_an_empty_folder_waits(house):
    (house.places("lisbon").to_send / "A_R001").mkdir()
    send(house)
    assert sent(house) == []
    assert [path.name for path in house.places("lisbon").to_send.iterdir()] == ["A_R001"]


def test_a_hidden_folder_is_nobody_s_package(house):
    """rsync(1) keeps what is half there in a hidden folder when it is asked to: `--partial-dir=.rsync-partial`."""
    to_send = house.places("lisbon").to_send
    fill(to_send / ".rsync-partial", reel_of_frames())
    send(house)
    assert [path.name for path in to_send.iterdir()] == [".rsync-partial"], "not sent, and no note about it"


def test_a_folder_that_names_no_reel_stays_with_a_note_that_says_what_was_expected(house):
    to_send = house.places("lisbon").to_send
    fill(to_send / "holiday", {"beach.tif": b"sand"})
    send(house)
    note = (to_send / "holiday.PROBLEM.txt").read_text()
    assert "'holiday' names no reel of the production" in note
    assert "A_R001" in note
    assert sent(house) == []
    before = (to_send / "holiday.PROBLEM.txt").stat().st_mtime_ns
    send(house)
    assert (to_send / "holiday.PROBLEM.txt").stat().st_mtime_ns == before, "the same note is not written twice"

    (to_send / "holiday").rename(to_send / "A_R001 wet gate")
    send(house)
    assert sent(house) == ["A/R001/v1"]


def kept(house: House) -> list[tuple[str, str]]:
    return [(each.site, each.folder) for each in house.state(COORDINATOR).kept]


def test_the_coordinator_sees_a_folder_that_was_not_sent_until_it_is(house):
    to_send = house.places("lisbon").to_send
    fill(to_send / "holiday", {"beach.tif": b"sand"})
    send(house)
    assert kept(house) == [("lisbon", "holiday")]
    [there] = house.state().kept
    assert there.why.startswith("the folder's name 'holiday' names no reel of the production")
    head = house.state().sequence
    for _ in range(10):
        send(house)
    assert house.state().sequence == head, "a folder is told of once"

    (to_send / "holiday").rename(to_send / "A_R001 wet gate")
    send(house)
    assert (sent(house), kept(house)) == (["A/R001/v1"], [])
    assert list(to_send.iterdir()) == [], "the note goes with the folder"


def test_a_folder_that_was_taken_away_is_settled_and_notes_of_people_stay(house):
    to_send = house.places("lisbon").to_send
    fill(to_send / "holiday", {"beach.tif": b"sand"})
    (to_send / "mine.PROBLEM.txt").write_text("a person wrote this")
    send(house)
    assert kept(house) == [("lisbon", "holiday")]
    (to_send / "holiday" / "beach.tif").unlink()
    (to_send / "holiday").rmdir()
    send(house)
    assert kept(house) == []
    assert [path.name for path in to_send.iterdir()] == ["mine.PROBLEM.txt"]


def test_a_slip_that_is_put_right_settles_the_folder_under_its_own_name(house):
    folder = fill(house.places("lisbon").to_send / "tins \x07", {**reel_of_frames(), "relay.toml": b"reel = "})
    send(house)
    assert kept(house) == [("lisbon", "tins")]
    fill(folder, {"relay.toml": b'reel = "A/R001"'})
    send(house)
    assert (sent(house), kept(house)) == (["A/R001/v1"], [])


def test_however_many_folders_lie_there_the_ledger_hears_of_fifty_at_a_time(house):
    to_send = house.places("lisbon").to_send
    for number in range(60):
        fill(to_send / f"z{number:02d}", {"f.tif": b"?"})
    send(house)
    assert [folder for _, folder in kept(house)] == [f"z{number:02d}" for number in range(50)]
    fill(to_send / "a", {"f.tif": b"?"})
    (to_send / "z00").rename(to_send / "A_R001")
    send(house)
    assert len(kept(house)) == 50
    assert ("lisbon", "z49") in kept(house), "what was told of and still lies there is not settled to make room"


def test_jobs_and_sites_show_what_lies_in_to_send(house):
    from tests.faults.test_workers_run import relay

    fill(house.places("lisbon").to_send / "holiday", {"beach.tif": b"sand"})
    send(house)
    for words in (["jobs"], ["site", "list"]):
        assert "Not sent: holiday in lisbon's to-send/, since 20" in relay(house, COORDINATOR, *words).out
    told = json.loads(relay(house, COORDINATOR, "jobs", "--json").out)["not_sent"]
    assert [(each["site"], each["folder"]) for each in told] == [("lisbon", "holiday")]
    sites = json.loads(relay(house, COORDINATOR, "site", "list", "--json").out)["sites"]
    assert {site["site"]: len(site["not_sent"]) for site in sites} == {COORDINATOR: 0, "lisbon": 1, "kolkata": 0}


def test_one_folder_with_a_problem_keeps_no_other_waiting(house):
    to_send = house.places("lisbon").to_send
    fill(to_send / "A", {"f.tif": b"?"})
    fill(to_send / "A_R001", reel_of_frames())
    send(house)
    assert sent(house) == ["A/R001/v1"]


def test_what_was_refused_is_not_read_again_every_minute_but_at_once_when_it_was_changed(house):
    to_send = house.places("lisbon").to_send
    folder = fill(to_send / "A_R009", reel_of_frames())
    room = house.room("lisbon", every=60.0)
    with house.turn("lisbon", room) as turn:
        turn.run(Lane.LOOK)
        turn.run(Lane.SEND)
        assert finished_folders(room) == []
        time.sleep(0.02)
        fill(folder, {"relay.toml": b'reel = "A/R001"'})
        assert finished_folders(room) == [folder]
        assert turn.run(Lane.SEND) == 1
    assert sent(house) == ["A/R001/v1"]


def test_a_marker_put_beside_what_was_refused_has_it_looked_at_again_at_once(house):
    folder = fill(house.places("lisbon").to_send / "A_R009", reel_of_frames())
    room = house.room("lisbon", every=60.0)
    with house.turn("lisbon", room) as turn:
        turn.run(Lane.LOOK)
        turn.run(Lane.SEND)
    assert finished_folders(room) == []
    folder.with_name("A_R009.finished").touch()
    assert finished_folders(room) == [folder]


def test_the_slip_says_what_the_name_does_not_and_does_not_travel(house):
    folder = house.places("lisbon").to_send / "pass 2"
    slip = b'reel = "A/R001"\nnote = "wet gate"\nstart_mark = 86401\n'
    fill(folder, {**reel_of_frames(), "relay.toml": slip})
    send(house)
    version = house.state().versions["A/R001/v1"]
    assert (version.note, version.files) == ("wet gate", 3)
    assert version.scan_map.reel_frame(86401) == 0
    assert (house.places("lisbon").sent / "A_R001_v1" / HIDDEN).read_bytes() == slip


@pytest.mark.parametrize(
    ("slip", "said"),
    [
        (b"reel = ", "relay.toml cannot be read"),
        (b'reel = "A/R001"\ncolour = 3', "colour"),
        (b'reel = "Z/R77"', "no reel Z/R77"),
        (b'reel = "A/R001"\njob = "scan/A/R001/1"', "was never lisbon's"),
        (b"\xff\xfe", "relay.toml cannot be read"),
    ],
)
def test_a_slip_that_is_wrong_is_explained_and_stays_where_it_was(house, slip, said):
    folder = fill(house.places("lisbon").to_send / "A_R001", {**reel_of_frames(), "relay.toml": slip})
    send(house)
    assert said in folder.with_name("A_R001.PROBLEM.txt").read_text()
    assert (folder / "relay.toml").read_bytes() == slip
    assert not (folder / HIDDEN).exists()


def test_a_slip_that_was_set_aside_and_put_back_makes_its_folder_no_other(house):
    fill(house.places("lisbon").to_send / "A_R001", {**reel_of_frames(), "relay.toml": b'reel = "Z/R77"'})
    time.sleep(0.02)  # a rename stamps the file with another time
    room = house.room("lisbon", every=60.0)
    with house.turn("lisbon", room) as turn:
        turn.run(Lane.LOOK)
        turn.run(Lane.SEND)
    assert finished_folders(room) == [], "or it would be tried again every minute"


def test_a_slip_that_a_killed_run_had_set_aside_is_found(tmp_path):
    (tmp_path / HIDDEN).write_text('reel = "A/R001"')
    with slip_of(tmp_path) as slip:
        assert slip.reel == "A/R001"


def test_a_package_goes_to_the_job_that_people_here_hold_on_its_reel(house):
    with house.turn("lisbon") as turn:
        turn.run(Lane.LOOK)
        work.claim(turn.desk.ledger, turn.desk.pen, "scan/A/R001")
    fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
    send(house)
    job = house.state().jobs["scan/A/R001/1"]
    assert (job.standing, job.outcome) == (Standing.HANDED_IN, "A/R001/v1")


def test_a_package_never_passes_for_the_work_of_a_machine_on_the_same_reel(tmp_path):
    from workers.automatic import _claim

    house = House(tmp_path, film([SCAN], {COORDINATOR: [], "lisbon": ["scan"]}))
    with house.turn("lisbon") as turn:
        turn.run(Lane.LOOK)
        _claim(turn.desk, "scan/A/R001/1")
    fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
    send(house)
    assert house.state().jobs["scan/A/R001/1"].standing is Standing.CLAIMED
    assert sent(house) == ["A/R001/v1"]


def test_two_jobs_held_on_one_reel_are_a_question_for_a_person(house):
    later = datetime.now(UTC).replace(microsecond=0) + timedelta(days=3)
    with house.turn("lisbon") as turn:
        turn.run(Lane.LOOK)
        work.claim(turn.desk.ledger, turn.desk.pen, "scan/A/R001", later)
    with house.desk(COORDINATOR) as desk:
        work.ask(desk.ledger, desk.pen, "scan", "A/R001", (), (), None, "a second pass")
    with house.desk("lisbon") as desk:
        work.claim(desk.ledger, desk.pen, "scan/A/R001/2", later)
    folder = fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
    send(house)
    assert "lisbon holds 2 jobs on A/R001" in folder.with_name("A_R001.PROBLEM.txt").read_text()
    fill(folder, {"relay.toml": b'job = "scan/A/R001/2"'})
    send(house)
    assert house.state().jobs["scan/A/R001/2"].standing is Standing.HANDED_IN


def test_what_comes_after_the_job_went_to_another_site_is_kept_and_nobody_accepted_it(house):
    with house.turn("lisbon") as turn:
        turn.run(Lane.LOOK)
        work.claim(turn.desk.ledger, turn.desk.pen, "scan/A/R001")
    with house.desk(COORDINATOR) as desk:
        work.reassign(desk.ledger, desk.pen, "scan/A/R001", "kolkata", "lisbon is closed")
    with house.desk("kolkata") as desk:
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
    fill(house.places("lisbon").to_send / "A_R001", reel_of_frames(1))
    send(house)
    job = house.state().jobs["scan/A/R001/1"]
    assert (job.standing, job.claim.site, job.late) == (Standing.CLAIMED, "kolkata", ("A/R001/v1",))
    # The very same bytes from the present holder still hand the job in.
    fill(house.places("kolkata").to_send / "A_R001", reel_of_frames(1))
    send(house, "kolkata")
    job = house.state().jobs["scan/A/R001/1"]
    assert (job.standing, job.outcome) == (Standing.HANDED_IN, "A/R001/v2")


def test_a_kill_between_the_entry_and_the_move_says_nothing_twice(house):
    folder = fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
    send(house)
    (house.places("lisbon").sent / "A_R001_v1").rename(folder)  # as it lay at that moment
    send(house)
    assert sent(house) == ["A/R001/v1"]
    assert list(house.places("lisbon").to_send.iterdir()) == []


ODD = ["A/R1", "A/R1_2", "A/R10", "TINT_A/R1", "B/A_R1", "B_A/R1"]


@pytest.mark.parametrize(
    ("name", "reel"),
    [
        ("A_R1", "A/R1"),
        ("a_r1", "A/R1"),
        ("A_R1 wet gate", "A/R1"),
        ("A_R10", "A/R10"),
        ("A_R1_v3", "A/R1"),
        ("A_R1_2 wet gate", "A/R1_2"),
        ("TINT_A_R1", "TINT_A/R1"),
        ("TINT__A_R1", "TINT_A/R1"),
        ("B_A__R1 again", "B/A_R1"),
        ("B__A_R1", "B_A/R1"),
    ],
)
def test_a_folders_name_begins_with_its_reel(name, reel):
    assert reel_of_folder(odd_film(), name) == reel


@pytest.mark.parametrize("name", ["B_A_R1", "A", "R1", "A_R100", "AR1", "xA_R1", "A_R1x"])
def test_a_folders_name_that_fits_no_reel_or_two_is_refused(name):
    with pytest.raises(RefusedError, match=r"relay\.toml"):
        reel_of_folder(odd_film(), name)


def odd_film():
    from relay.ledger.state import State

    plain = film([], {COORDINATOR: []}).model_dump(by_alias=True)
    element = plain["element"][0]
    codes: dict[str, list[str]] = {}
    for each in ODD:
        code, reel = each.split("/")
        codes.setdefault(code, []).append(reel)
    plain["element"] = [
        {**element, "code": code, "reel": [{"name": reel} for reel in reels]} for code, reels in codes.items()
    ]
    return State(production=type(film([], {COORDINATOR: []})).model_validate(plain))
