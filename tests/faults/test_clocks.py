"""Clocks off by an hour, by a day, either way, and running back: no job has two owners, no claim lapses wrongly."""

import itertools
import json
import logging
import os
import re
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path

import pytest

from relay.clock import SYSTEM_CLOCK
from relay.errors import RefusedError
from relay.ledger import work
from relay.ledger.entry import Entry
from relay.ledger.job_state import Standing
from relay.store.address import S3Address, parse_address
from relay.store.s3 import S3Store
from tests.faults.distant import Off, WrongClock, desk_at, turn_at
from tests.faults.workers_crew import Account, claim_all, told
from tests.servers.s3 import S3Server
from tests.unit.workers.house import COORDINATOR, SCAN, House, film
from workers.automatic import _claim
from workers.turn import Lane

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def backwards() -> Off:
    """Return a clock that is a minute further back each time that it is asked."""
    asked = itertools.count()
    return lambda: -next(asked) * timedelta(minutes=1)


WRONG: dict[str, Off] = {
    "hour-ahead": lambda: HOUR,
    "hour-behind": lambda: -HOUR,
    "day-ahead": lambda: DAY,
    "day-behind": lambda: -DAY,
    "backwards": backwards(),
}
LEASE = 300


def house_of(root: Path, reels: int, store: str | None = None, lease: int = LEASE) -> House:
    stages = [{"name": "scan"}, {**SCAN, "name": "count", "of": ["A/R001"], "lease": lease}]
    house = House(root, film(stages, {COORDINATOR: [], **{site: ["scan", "count"] for site in WRONG}}, reels), store)
    with house.desk(COORDINATOR) as desk:
        work.open_due(desk.ledger, desk.pen)
    return house


def claims_of(house: House, site: str, jobs: list[str], start: threading.Barrier) -> list[Entry | str]:
    with desk_at(house, site, WRONG[site]) as desk:
        return claim_all(desk, jobs, start)


def check_one_owner_each(house: House, reels: int) -> None:
    jobs = [f"scan/A/R{number:03d}/1" for number in range(1, reels + 1)]
    start = threading.Barrier(len(WRONG))
    with ThreadPoolExecutor(len(WRONG)) as pool:
        answers = dict(zip(WRONG, pool.map(lambda site: claims_of(house, site, jobs, start), WRONG), strict=True))
    state = house.state()
    for number, job in enumerate(jobs):
        claim = state.jobs[job].claim
        winners = [site for site in WRONG if isinstance(answers[site][number], Entry)]
        assert winners == [claim.site]
        losers = [answers[site][number] for site in WRONG if site != claim.site]
        assert all(f"is {claim.site}'s since entry {claim.epoch}:" in said for said in losers)
    account = Account(told(house))
    assert account.claims == dict.fromkeys(jobs, 1)
    assert account.faults == []


def test_sites_with_clocks_hours_and_days_apart_claim_at_once_and_each_job_has_one_owner(tmp_path):
    check_one_owner_each(house_of(tmp_path, 12), 12)


@pytest.mark.parametrize("holder", WRONG)
def test_no_wrong_clock_ends_a_live_claim_and_none_keeps_a_dead_one_alive(tmp_path, holder):
    """Signs of life are judged by the time of the store, which here is that of the disk."""
    house, job = house_of(tmp_path, 1), "count/A/R001/1"
    with desk_at(house, holder, WRONG[holder]) as desk:
        epoch = _claim(desk, job).epoch
    others = [site for site in WRONG if site != holder]
    with turn_at(house, holder, WRONG[holder]) as turn:
        turn.life.beat(job, epoch)
    for site in others:
        with turn_at(house, site, WRONG[site]) as turn:
            assert turn.run(Lane.LOOK) == 0
    assert house.state().jobs[job].claim.epoch == epoch

    [sign] = (house.root / "store/alive").iterdir()
    os.utime(sign, (SYSTEM_CLOCK.now().timestamp() - LEASE - 30,) * 2)
    with turn_at(house, others[-1], WRONG[others[-1]]) as turn:
        assert turn.run(Lane.LOOK) == 1
    after = house.state().jobs[job]
    assert (after.standing, after.lapses) == (Standing.OPEN, 1)


@pytest.mark.parametrize("site", ["hour-ahead", "hour-behind", "day-ahead", "day-behind"])
def test_a_worker_tells_once_an_hour_how_far_its_clock_is_off(tmp_path, caplog, site):
    house = house_of(tmp_path, 1)
    seconds = {"hour": 3600, "day": 86400}[site.partition("-")[0]]
    way = "ahead of" if site.endswith("ahead") else "behind"
    with caplog.at_level(logging.WARNING, "relay.workers"), turn_at(house, site, WRONG[site]) as turn:
        for _ in range(3):
            turn.run(Lane.LOOK)
    [said] = [record.getMessage() for record in caplog.records if "clock" in record.getMessage()]
    told_seconds = int(re.search(r"clock is (\d+) s", said)[1])
    assert abs(told_seconds - seconds) < 30
    assert f" s {way} the store's" in said


def test_a_worker_whose_clock_is_right_says_nothing_of_it(tmp_path, caplog):
    house = house_of(tmp_path, 1)
    with caplog.at_level(logging.WARNING, "relay.workers"), turn_at(house, "backwards") as turn:
        turn.run(Lane.LOOK)
    assert [record for record in caplog.records if "clock" in record.getMessage()] == []


@pytest.fixture
def bucket(seaweedfs: S3Server, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", seaweedfs.access_key)
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", seaweedfs.secret_key)
    return f"s3://{seaweedfs.bucket()}/tide?endpoint={seaweedfs.endpoint}"


@pytest.mark.seaweedfs
def test_over_a_bucket_too_each_job_has_one_owner_whatever_times_are_written(tmp_path, bucket):
    """Only the times in the entries are wrong here: requests are signed with the machine's clock."""
    check_one_owner_each(house_of(tmp_path, 3, bucket), 3)


@pytest.mark.seaweedfs
@pytest.mark.parametrize(
    ("holder", "other"),
    [("day-ahead", "day-behind"), pytest.param("day-behind", "day-ahead", marks=pytest.mark.soak)],
)
def test_over_a_bucket_too_a_claim_lapses_by_the_store_s_clock_alone(tmp_path, bucket, holder, other):
    """RFC 9110: Date and Last-Modified are both the server's; their difference is how old a sign is."""
    house, job = house_of(tmp_path, 1, bucket, lease=5), "count/A/R001/1"
    with desk_at(house, holder, WRONG[holder]) as desk:
        epoch = _claim(desk, job).epoch
    with turn_at(house, holder, WRONG[holder]) as held, turn_at(house, other, WRONG[other]) as turn:
        held.life.beat(job, epoch)
        assert turn.run(Lane.LOOK) == 0, "a day lies between their clocks, and a second between the signs"
        while turn.run(Lane.LOOK) == 0:
            SYSTEM_CLOCK.wait(0.5)
    [lapsed] = [word for raw in told(house) for word in json.loads(raw.split(b"\n")[0])["words"] if "silent" in word]
    assert lapsed["epoch"] == epoch
    assert 5 < lapsed["silent"] < 300, "seconds, not the day that lies between the clocks"
    assert house.state().jobs[job].standing is Standing.OPEN


@pytest.mark.seaweedfs
@pytest.mark.parametrize("site", ["hour-ahead", "day-behind"])
def test_a_bucket_refuses_a_machine_whose_clock_is_far_off_and_the_refusal_names_both_clocks(tmp_path, bucket, site):
    """AWS SigV4: a request's time may differ from the server's by 15 minutes. Nothing is written."""
    house = house_of(tmp_path, 1, bucket)
    head = house.state().sequence
    place = parse_address(bucket)
    assert isinstance(place, S3Address)
    clock = WrongClock(WRONG[site])
    wrong = S3Store(place.bucket, place.prefix, endpoint=place.endpoint, clock=clock)
    with (
        desk_at(house, site, WRONG[site], wrong) as desk,
        pytest.raises(RefusedError, match="RequestTimeTooSkewed") as refused,
    ):
        work.claim(desk.ledger, desk.pen, "scan/A/R001/1")
    clocks = re.search(r"This machine's clock says (\S+), the store's says (\S+), and", str(refused.value))
    assert clocks is not None
    assert clocks[1] != clocks[2]
    assert house.state().sequence == head
