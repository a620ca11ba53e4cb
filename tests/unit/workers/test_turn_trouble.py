"""A turn in trouble: what is told and what is not, what waits and what goes on, and who is rung."""

import itertools
import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from relay.errors import RefusedError, TransientError
from relay.ledger import work
from relay.ledger.copy import LocalCopy
from relay.ledger.job_words import ClaimLapsed
from relay.ledger.ledger import Ledger
from relay.model import digest_of
from relay.store.keys import object_key
from relay.store.port import Store
from tests.unit.ledger.rig import FakeClock
from tests.unit.workers.house import COORDINATOR, SCAN, House, fill, film, reel_of_frames
from tests.unit.workers.test_automatic import JOB, age_all
from workers.automatic import _claim
from workers.hooks import Hooks, Teller
from workers.room import StoppedError
from workers.turn import CLOCK_EVERY, SKEW_TOLD, Lane, Turn

PEOPLE = [{"name": "scan"}, {"name": "grade", "after": ["scan"]}]
ROOMS = {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["grade"]}
V1 = "A/R001/v1"


class Moody:
    """A store that does for one object what a test says, and everything else as it should."""

    def __init__(self, inner: Store, read_into: Callable[[str, memoryview], int]) -> None:
        self._inner = inner
        self.read_into = read_into

    def __getattr__(self, name: str):
        return getattr(self._inner, name)


class OffClock(FakeClock):
    """Shows the instant that it is told to."""

    def __init__(self, shows: datetime) -> None:
        super().__init__()
        self.shows = shows

    def now(self) -> datetime:
        return self.shows + timedelta(seconds=int(self.passed))


class Bell:
    """Remembers who was rung."""

    def __init__(self) -> None:
        self.rung: set[str] = set()

    def ring(self, sites, stages, about) -> None:
        self.rung |= {*sites, *stages, about}


@pytest.fixture
def house(tmp_path):
    return House(tmp_path, film(PEOPLE, ROOMS))


@contextmanager
def moody_turn(house: House, site: str, read_into) -> Iterator[Turn]:
    """Open a turn whose store answers reads of media with `read_into(inner, key, buffer)`."""
    home = house.home(site)
    with house.desk(site) as plain:
        store = Moody(plain.store, lambda key, buffer: read_into(plain.store, key, buffer))
        ledger = Ledger(store, LocalCopy(home.ledger), plain.clock, home.read().root)
        desk = replace(plain, store=store, ledger=ledger)
        yield Turn(desk, house.room(site, every=60.0), lambda: Teller(desk, Hooks(), home.folder / "told"))


def sent_by_lisbon(house: House) -> dict[str, bytes]:
    """Let Lisbon claim the scan and send it; return its files."""
    files = reel_of_frames()
    with house.turn("lisbon") as turn:
        turn.look()
        work.claim(turn.desk.ledger, turn.desk.pen, "scan/A/R001")
        fill(house.places("lisbon").to_send / "A_R001", files)
        assert turn.run(Lane.SEND) == 1
    return files


def bad_memory() -> Callable[[Store, str, memoryview], int]:
    """Read with another bit wrong each time: a store that has bad bytes shows the same ones again."""
    bit = itertools.cycle(1 << place for place in range(8))

    def read_into(store: Store, key: str, buffer: memoryview) -> int:
        count = store.read_into(key, buffer)
        buffer[0] ^= next(bit)
        return count

    return read_into


def away(_store: Store, _key: str, _buffer: memoryview) -> int:
    raise TransientError("the store does not answer")


def away_once() -> Callable[[Store, str, memoryview], int]:
    troubles = [TransientError("the store does not answer")]

    def read_into(store: Store, key: str, buffer: memoryview) -> int:
        if troubles:
            raise troubles.pop()
        return store.read_into(key, buffer)

    return read_into


def spoil(house: House, body: bytes) -> None:
    stored = house.root / "store" / object_key(digest_of(body))
    stored.chmod(0o644)
    stored.write_bytes(b"rotten")


def note_of(house: House) -> bool:
    return (house.places("kolkata").arrived / "A_R001_v1.PROBLEM.txt").exists()


def test_what_is_damaged_on_its_way_and_whole_in_the_bucket_is_a_trouble_and_fetched_again_in_a_while(house, caplog):
    sent_by_lisbon(house)
    with moody_turn(house, "kolkata", bad_memory()) as turn:
        assert turn.run(Lane.RECEIVE) == 0
        assert turn.wanted() & {Lane.RECEIVE} == set(), "it waits a while first"
    assert "look after this machine's memory, disk and line" in caplog.text
    with house.turn("kolkata") as turn:  # a new process, whose line is good
        assert turn.run(Lane.RECEIVE) == 1


def test_a_store_that_is_away_leaves_no_note_beside_what_it_has_not_brought_and_is_asked_again_at_once(house, caplog):
    sent_by_lisbon(house)
    with moody_turn(house, "kolkata", away) as turn:
        assert turn.run(Lane.RECEIVE) == 0
        assert Lane.RECEIVE in turn.wanted()
    assert not note_of(house)
    assert "again later" in caplog.text


def test_what_was_refused_is_not_looked_at_as_if_it_had_arrived(tmp_path, caplog):
    house = House(tmp_path, film([{"name": "scan", "inspected": True}, PEOPLE[1]], ROOMS))
    spoil(house, min(sent_by_lisbon(house).values()))
    with house.turn("kolkata") as turn:
        assert turn.run(Lane.RECEIVE) == 1
    version = house.state().versions[V1]
    assert ([each.whole for each in version.receipts], version.inspections) == ([False], ())
    assert not [record for record in caplog.records if record.levelno >= logging.ERROR]


def refused_at_kolkata(house: House) -> bytes:
    body = min(sent_by_lisbon(house).values())
    spoil(house, body)
    with house.turn("kolkata") as turn:
        turn.run(Lane.RECEIVE)
    return body


def test_only_a_folder_that_holds_this_very_version_mends_it(house):
    refused_at_kolkata(house)
    with house.turn("lisbon") as turn:
        (copy,) = turn.desk.arrivals.near(V1)
        turn.desk.ledger.follow()
        assert Lane.MEND in turn.wanted()
        turn.desk.arrivals.note(copy.folder, V1, digest_of(b"the manifest of an older version"))
        assert Lane.MEND not in turn.wanted()
        assert turn.run(Lane.MEND) == 0


def test_a_store_that_goes_away_while_a_copy_is_mended_is_asked_again_with_the_same_copy(house):
    refused_at_kolkata(house)
    with moody_turn(house, "lisbon", away_once()) as turn:
        turn.desk.ledger.follow()
        (copy,) = turn.desk.arrivals.near(V1)
        spoiled = fill(house.root / "spoiled copy", dict.fromkeys(reel_of_frames(), b"edited"))
        for folder in (spoiled, copy.folder):  # the newest is tried first
            turn.desk.arrivals.note(folder, V1, copy.manifest)
        assert turn.run(Lane.MEND) == 0
        assert Lane.MEND in turn.wanted(), "nothing was wrong with any copy, as far as anybody knows"


def automatic(tmp_path) -> House:
    return House(tmp_path, film([{**SCAN, "lease": 5}], {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["scan"]}))


def test_a_site_does_not_call_its_own_worker_silent_while_it_is_at_work(tmp_path):
    house = automatic(tmp_path)
    with house.turn("lisbon") as turn:
        turn.look()
        turn.life.beat(JOB, _claim(turn.desk, JOB).epoch)
        age_all(house, 60)
        turn.room.busy.add(JOB)
        assert turn.look() == 0
        turn.room.busy.clear()
        assert turn.look() == 1


def test_a_lapse_that_another_site_said_first_is_not_said_of_the_next_holders_claim(tmp_path, caplog):
    house = automatic(tmp_path)
    with house.turn("lisbon") as turn, house.turn("kolkata") as theirs:
        turn.look()
        first = _claim(turn.desk, JOB)
        turn.life.beat(JOB, first.epoch)
        age_all(house, 60)
        silent = turn.life.lapsed(turn.desk.ledger.follow().jobs[JOB])
        theirs.look()
        second = _claim(theirs.desk, JOB)
        turn.life.lapsed = lambda _job: silent  # asked before the other site said so
        turn.look()
    assert isinstance(silent, ClaimLapsed)
    assert house.state().jobs[JOB].claim.epoch == second.epoch > first.epoch
    assert not [record for record in caplog.records if record.levelno >= logging.WARNING]


def test_a_worker_that_is_told_to_stop_begins_nothing_more(house):
    with house.turn("lisbon") as turn:
        turn.room.stopping.set()
        with pytest.raises(StoppedError):
            turn.look()
    assert house.state().jobs == {}


def test_what_failed_waits_and_what_a_turn_said_is_rung(house):
    sent_by_lisbon(house)
    in_the_way = fill(house.places("kolkata").arrived / "A_R001_v1", {"holiday.jpg": b"a beach"})
    bell = Bell()
    with house.turn("kolkata", house.room("kolkata", bell=bell, every=60.0, clock=FakeClock())) as turn:
        assert turn.run(Lane.RECEIVE) == 0
        (in_the_way / "holiday.jpg").unlink()
        assert turn.run(Lane.RECEIVE) == 0, "it is left alone for a while"
        assert bell.rung == set()
        turn.room.clock.wait(60)
        assert turn.run(Lane.RECEIVE) == 1
    assert "grade/A/R001/1" in bell.rung or V1 in bell.rung


@pytest.mark.parametrize(("off", "word"), [(90, "ahead of"), (-90, "behind")])
def test_a_clock_that_is_off_is_told_once_an_hour_either_way(house, caplog, off, word):
    clock = OffClock(datetime.now(UTC) + timedelta(seconds=off))
    with house.turn("lisbon", house.room("lisbon", clock=clock)) as turn:
        turn.desk = replace(turn.desk, clock=clock)
        for _ in range(3):
            turn.look()
        assert caplog.text.count(f"{word} the store's") == 1
        clock.wait(CLOCK_EVERY)
        clock.shows -= timedelta(seconds=CLOCK_EVERY)
        turn.look()
        assert caplog.text.count(f"{word} the store's") == 2
    assert abs(off) > SKEW_TOLD


def test_a_clock_that_is_nearly_right_is_not_told(house, caplog):
    clock = OffClock(datetime.now(UTC) - timedelta(seconds=20))
    with house.turn("lisbon", house.room("lisbon", clock=clock)) as turn:
        turn.desk = replace(turn.desk, clock=clock)
        turn.look()
    assert "the store's" not in caplog.text


def test_folders_that_could_not_be_told_of_wait_a_while(house):
    (house.places("lisbon").to_send / "Z_R009").mkdir()
    fill(house.places("lisbon").to_send / "Z_R009", reel_of_frames())
    with house.turn("lisbon", house.room("lisbon", every=60.0, clock=FakeClock())) as turn:
        turn.run(Lane.SEND)
        assert [each.folder for each in house.state().kept_at("lisbon")] == ["Z_R009"]
        (house.places("lisbon").to_send / "Z_R009").rename(house.root / "elsewhere")
        turn.room.patience.failed("say how folders in to-send/ stand", RefusedError("the key was revoked"))
        assert Lane.SEND not in turn.wanted()
        turn.room.clock.wait(600)
        assert Lane.SEND in turn.wanted()
