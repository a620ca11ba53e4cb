"""What is said of a folder in `to-send/`: in the note beside it, in the ledger, and to the site's own memory."""

from dataclasses import replace

import pytest

from relay.ledger import work
from relay.transfer.quiet import QUIET
from tests.contracts.stores.scripted import PatientClock
from tests.unit.workers.house import COORDINATOR, House, fill, film, reel_of_frames
from workers.to_send import folder_words, kept_folders, send_folder
from workers.turn import Lane

STAGES = [{"name": "scan"}]


@pytest.fixture
def house(tmp_path):
    return House(tmp_path, film(STAGES, {COORDINATOR: [], "lisbon": ["scan"]}))


def send(house: House) -> None:
    with house.turn("lisbon") as turn:
        turn.run(Lane.LOOK)
        turn.run(Lane.SEND)


def test_the_note_says_what_is_wrong_now(house):
    folder = fill(house.places("lisbon").to_send / "A_R001", {**reel_of_frames(), "relay.toml": b'reel = "Z/R77"'})
    note = folder.with_name("A_R001.PROBLEM.txt")
    send(house)
    assert "no reel Z/R77" in note.read_text()
    (folder / "relay.toml").write_bytes(b'reel = "A/R001"\ncolour = 3')
    send(house)
    assert "no reel Z/R77" not in note.read_text()
    assert "colour" in note.read_text()


def test_a_note_to_which_a_person_added_something_is_theirs(house):
    folder = fill(house.places("lisbon").to_send / "holiday", {"beach.tif": b"sand"})
    send(house)
    note = folder.with_name("holiday.PROBLEM.txt")
    note.write_text(f"{note.read_text()}\nI have asked Ana.")
    (folder / "beach.tif").unlink()
    folder.rmdir()
    assert kept_folders(house.room("lisbon")) == {}
    assert note.exists()


def test_a_folder_is_told_of_once_and_settled_once(house):
    fill(house.places("lisbon").to_send / "holiday", {"beach.tif": b"sand"})
    send(house)
    state, kept = house.state(), kept_folders(house.room("lisbon"))
    assert list(kept) == ["holiday"]
    assert folder_words(state, "lisbon", kept) == []
    assert [word.word for word in folder_words(state, "lisbon", {})] == ["folder-settled"]


def test_what_was_sent_from_here_need_not_be_fetched_to_here(house):
    fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
    send(house)
    with house.desk("lisbon") as desk:
        [near] = desk.arrivals.near("A/R001/v2")
    assert near.folder == house.places("lisbon").sent / "A_R001_v1"


def test_what_is_for_the_next_site_is_said_with_the_job(house):
    with house.turn("lisbon") as turn:
        turn.run(Lane.LOOK)
        work.claim(turn.desk.ledger, turn.desk.pen, "scan/A/R001")
    slip = b'note = "wet gate"\nfor_next = "mind the splice"'
    fill(house.places("lisbon").to_send / "A_R001", {**reel_of_frames(), "relay.toml": slip})
    send(house)
    assert house.state().jobs["scan/A/R001/1"].note == "mind the splice"


def test_a_folder_that_was_called_finished_is_not_waited_for_once_more(house):
    folder = fill(house.places("lisbon").to_send / "A_R001", reel_of_frames())
    clock = PatientClock()
    with house.turn("lisbon") as turn:
        turn.desk.ledger.follow()
        send_folder(replace(turn.desk, clock=clock), house.room("lisbon"), folder)
    assert not folder.exists()
    assert sum(clock.waits) < QUIET
