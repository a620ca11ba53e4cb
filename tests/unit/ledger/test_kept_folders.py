"""Folders that a site could not send: told of once, seen by everybody, and settled."""

import pytest

from relay.ledger.notices import notices_for
from relay.ledger.telling import telling
from relay.ledger.words import KEPT_FOLDERS, FolderNotSent, FolderSettled, SiteInvited, SiteJoined
from tests.unit.ledger.job_scene import SOON, Floor, floor, refused
from tests.unit.ledger.scene import COORDINATOR, pen

HOLIDAY = FolderNotSent(folder="holiday", why="it names no reel")


@pytest.fixture
def told() -> Floor:
    return floor()


def kept(told: Floor) -> list[tuple[str, str]]:
    return [(each.site, each.folder) for each in told.state.kept]


def test_a_folder_is_told_of_once_until_it_is_settled(told: Floor) -> None:
    entry = told.says("lisbon", HOLIDAY)
    [there] = told.state.kept_at("lisbon")
    assert (there.why, there.entry) == ("it names no reel", entry)
    with refused("said already that holiday is not sent"):
        told.says("lisbon", HOLIDAY)
    told.says("lisbon", FolderSettled(folder="holiday"))
    assert kept(told) == []
    with refused("never said that holiday is not sent"):
        told.says("lisbon", FolderSettled(folder="holiday"))
    told.says("lisbon", HOLIDAY)


def test_a_site_speaks_of_its_own_folders_only(told: Floor) -> None:
    told.says("lisbon", HOLIDAY)
    told.says("kolkata", HOLIDAY)
    with refused("halifax never said"):
        told.says("halifax", FolderSettled(folder="holiday"))
    told.says("kolkata", FolderSettled(folder="holiday"))
    assert kept(told) == [("lisbon", "holiday")]


def test_no_site_fills_the_ledger_with_folders(told: Floor) -> None:
    told.says("lisbon", *(FolderNotSent(folder=f"folder {number}", why="no reel") for number in range(KEPT_FOLDERS)))
    with refused(f"has told of {KEPT_FOLDERS} folders"):
        told.says("lisbon", HOLIDAY)
    told.says("lisbon", FolderSettled(folder="folder 7"), HOLIDAY)
    told.says("kolkata", HOLIDAY)


def test_the_folders_of_a_site_that_was_removed_are_nobodys_business_any_more(told: Floor) -> None:
    told.says("lisbon", HOLIDAY)
    told.says("kolkata", HOLIDAY)
    told.removes("lisbon")
    assert kept(told) == [("kolkata", "holiday")]
    told.says(COORDINATOR, SiteInvited(site="lisbon", invitation=pen("lisbon", "again").public))
    told.say(pen("lisbon", "again"), SiteJoined(site="lisbon", key=pen("lisbon", "new").public))
    assert told.may(pen("lisbon", "new"), HOLIDAY)


def test_the_site_and_the_coordinator_are_told_once_for_each_time_that_it_lies_there(told: Floor) -> None:
    def names(site: str) -> list[str]:
        return [notice.name for notice in notices_for(told.state, site, SOON) if notice.kind == "not sent"]

    first = told.says("lisbon", HOLIDAY)
    assert names("lisbon") == names(COORDINATOR) == [f"not sent lisbon holiday {first}"]
    assert names("kolkata") == []
    told.says("lisbon", FolderSettled(folder="holiday"))
    assert names(COORDINATOR) == []
    again = told.says("lisbon", HOLIDAY)
    assert names(COORDINATOR) == [f"not sent lisbon holiday {again}"]


def test_the_ledger_tells_of_it_in_a_sentence() -> None:
    assert telling(HOLIDAY) == "could not send holiday from to-send/: it names no reel"
    assert telling(FolderSettled(folder="holiday")).startswith("settled holiday")
