"""Every action ten times: what was said once is not said again, and the state stays the same to the byte.

Left out are those that mean something new each time: a new key, another look at a stored copy.
"""

from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from relay.errors import LostRaceError, MissingError, RefusedError
from relay.ledger import roster, work
from relay.ledger.job_words import HandOnOffered
from relay.ledger.keys import Pen
from relay.model import digest_of
from relay.store.keys import object_key
from relay.transfer.desk import Desk
from relay.transfer.handover import Sending, receive, send
from relay.transfer.mending import mend_version
from relay.wiring import open_ledger, open_store
from tests.unit.workers.house import COORDINATOR, SCAN, House, fill, film, reel_of_frames
from workers.automatic import do_job
from workers.turn import Lane

TIMES = 10
SITES = {COORDINATOR: [], "lisbon": ["scan", "count"], "kolkata": ["scan", "grade"]}
STAGES = [
    {"name": "scan", "of": ["A/R001"], "may_move": True},
    {"name": "grade", "after": ["scan"]},
    {**SCAN, "name": "count", "of": ["A/R002"]},
]
SCANNING, GRADING, COUNTING = "scan/A/R001/1", "grade/A/R001/1", "count/A/R002/1"
SOON = datetime.now(UTC).replace(microsecond=0) + timedelta(days=2)
LATER = SOON + timedelta(days=1)


class Told:
    """A house in which each thing is done ten times, each time at a desk that was opened anew."""

    def __init__(self, root: Path) -> None:
        self.house = House(root, film(STAGES, SITES, reels=2))
        self.acts = 0

    def at(self, site: str, act: Callable[[Desk], object]) -> None:
        def once() -> None:
            with self.house.desk(site) as desk:
                act(desk)

        self.repeat(once)

    def turns(self, site: str, lane: Lane) -> None:
        def once() -> None:
            with self.house.turn(site) as turn:
                turn.run(lane)

        self.repeat(once)

    def repeat(self, once: Callable[[], None]) -> None:
        before = self.seen()
        once()
        first = self.seen()
        assert first != before, "the action did nothing: repeating it proves nothing"
        for _ in range(TIMES - 1):
            with suppress(RefusedError, LostRaceError, MissingError):  # to be told that it is done is an answer, too
                once()
            assert self.seen() == first
        self.acts += 1

    def seen(self) -> tuple[bytes, dict[str, bytes]]:
        """Return the state as every site reads it, and every object in the store."""
        states = {self.house.state(site).projection() for site in SITES}
        assert len(states) == 1
        store = open_store(self.house.store)
        kept = {line.key: store.read(line.key) for prefix in ("entries/", "by-digest/") for line in store.list(prefix)}
        return states.pop(), kept


@pytest.fixture
def told(tmp_path: Path) -> Told:
    return Told(tmp_path)


def offer(desk: Desk) -> None:
    draft = HandOnOffered(job=SCANNING, epoch=1, to="kolkata", done="half of it", left="the rest")
    work.offer(desk.ledger, desk.pen, SCANNING, draft)


def sends(folder: Path, job: str, seed: int) -> Callable[[Desk], object]:
    fill(folder, reel_of_frames(seed))
    return lambda desk: send(desk, Sending(folder, "A/R001", may_grow=True, job=job))


def test_a_jobs_whole_life_said_ten_times_over_is_said_once(told: Told, tmp_path: Path) -> None:
    def say(what: Callable[..., object], job: str, *more: object) -> Callable[[Desk], object]:
        return lambda desk: what(desk.ledger, desk.pen, job, *more)

    told.turns("lisbon", Lane.LOOK)
    told.at("lisbon", say(work.claim, SCANNING, SOON))
    told.at("lisbon", say(work.extend, SCANNING, LATER))
    told.at("lisbon", say(work.release, SCANNING, "ill"))
    told.at("lisbon", say(work.claim, SCANNING, SOON))
    told.at(COORDINATOR, say(work.reassign, SCANNING, "lisbon", "well again"))
    told.at("lisbon", say(work.claim, SCANNING, SOON))
    told.at("lisbon", offer)
    told.at("kolkata", say(work.decline, SCANNING, "no hands"))
    told.at("lisbon", offer)
    told.at("kolkata", say(work.take, SCANNING, LATER))
    told.at("lisbon", sends(tmp_path / "late", SCANNING, 7))
    told.at("kolkata", sends(tmp_path / "made", SCANNING, 1))
    told.at(COORDINATOR, lambda desk: receive(desk, "A/R001/v2", tmp_path / "arrived"))
    told.at(COORDINATOR, say(work.give_back, SCANNING, "a scratch at frame 2"))
    told.at("kolkata", say(work.claim, SCANNING, SOON))
    told.at("kolkata", sends(tmp_path / "again", SCANNING, 2))
    told.at(COORDINATOR, lambda desk: receive(desk, "A/R001/v3", tmp_path / "arrived-again"))
    told.at(COORDINATOR, say(work.accept, SCANNING, "good"))
    told.turns("lisbon", Lane.LOOK)
    asked = ("A/R001", ("A/R001/v3",), (), "lisbon", "a second pass")
    told.at(COORDINATOR, lambda desk: work.ask(desk.ledger, desk.pen, "scan", *asked))
    told.at(COORDINATOR, say(work.withdraw, "scan/A/R001/2", "not wanted"))
    told.at(COORDINATOR, say(work.withdraw, GRADING, "not wanted"))
    assert told.acts == 23


def test_what_workers_do_ten_times_over_is_done_once(told: Told) -> None:
    def does() -> None:
        with told.house.turn("lisbon") as turn:
            do_job(turn.desk, turn.room, turn.life, COUNTING)

    told.turns("lisbon", Lane.LOOK)
    told.repeat(does)
    told.turns(COORDINATOR, Lane.RECEIVE)
    fill(told.house.places("lisbon").to_send / "holiday", {"beach.tif": b"sand"})
    fill(told.house.places("lisbon").to_send / "A_R001", reel_of_frames())
    told.turns("lisbon", Lane.SEND)
    body = reel_of_frames()["frame.0086400.dpx"]
    stored = told.house.root / "store" / object_key(digest_of(body))
    stored.chmod(0o644)
    stored.write_bytes(b"rotten")
    told.at("kolkata", lambda desk: receive(desk, "A/R001/v1", told.house.root / "refused"))
    sent = told.house.places("lisbon").sent / "A_R001_v1"
    told.at("lisbon", lambda desk: mend_version(desk, "A/R001/v1", sent))
    told.at("kolkata", lambda desk: receive(desk, "A/R001/v1", told.house.root / "whole"))


def test_what_is_said_about_sites_ten_times_over_is_said_once(told: Told) -> None:
    house = told.house
    grown = film(STAGES, {**SITES, "porto": ["scan"]}, reels=3)
    told.at(COORDINATOR, lambda desk: roster.revise(desk.ledger, desk.pen, grown, "a can turned up"))
    with house.desk(COORDINATOR) as desk:
        letter = roster.invite(desk.ledger, desk.pen, "porto", house.store)
    pen = Pen.fresh("porto")

    def joins() -> None:
        ledger = open_ledger(house.home("porto"), open_store(house.store), letter.root)
        roster.join(ledger, letter, pen)

    told.repeat(joins)
    told.at(COORDINATOR, lambda desk: roster.remove(desk.ledger, desk.pen, "porto", "its work is done"))
