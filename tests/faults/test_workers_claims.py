"""Two sites that click claim at the same moment: one has the job, the other is told who."""

import re
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from relay.ledger import work
from relay.ledger.entry import Entry
from tests.faults.workers_crew import Account, claim_all, told
from tests.servers.s3 import S3Server
from tests.unit.workers.house import COORDINATOR, House, film

SITES = ("lisbon", "kolkata")


def racing_house(root: Path, times: int, store: str | None = None) -> House:
    house = House(root, film([{"name": "scan"}], {COORDINATOR: [], **{site: ["scan"] for site in SITES}}, times), store)
    with house.desk(COORDINATOR) as desk:
        work.open_due(desk.ledger, desk.pen)
    return house


def claims_of(house: House, site: str, jobs: list[str], start: threading.Barrier) -> list[Entry | str]:
    with house.desk(site) as desk:
        return claim_all(desk, jobs, start)


def race(house: House, times: int) -> dict[str, int]:
    """Return how often each site won, after looking at every answer."""
    jobs = [f"scan/A/R{number:03d}/1" for number in range(1, times + 1)]
    start = threading.Barrier(len(SITES))
    with ThreadPoolExecutor(len(SITES)) as pool:
        answers = list(pool.map(lambda site: claims_of(house, site, jobs, start), SITES))
    state, won = house.state(), dict.fromkeys(SITES, 0)
    for job, *both in zip(jobs, *answers, strict=True):
        claim = state.jobs[job].claim
        winner, loser = (0, 1) if isinstance(both[0], Entry) else (1, 0)
        assert both[winner].sequence == claim.epoch
        assert claim.site == SITES[winner]
        assert re.search(rf"is {SITES[winner]}'s since entry {claim.epoch}\b", both[loser]), both
        won[SITES[winner]] += 1
    account = Account(told(house))
    assert account.claims == dict.fromkeys(jobs, 1)
    assert account.faults == []
    return won


def test_of_two_sites_that_claim_at_once_one_has_the_job_and_the_other_is_told_who(tmp_path):
    race(racing_house(tmp_path, 30), 30)


@pytest.mark.seaweedfs
@pytest.mark.parametrize("times", [4, pytest.param(999, marks=pytest.mark.soak)])
def test_two_sites_claim_at_once_over_real_http(tmp_path, seaweedfs: S3Server, monkeypatch, times):
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", seaweedfs.access_key)
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", seaweedfs.secret_key)
    store = f"s3://{seaweedfs.bucket()}/tide?endpoint={seaweedfs.endpoint}"
    print(race(racing_house(tmp_path, times, store), times))


@pytest.mark.ceph
@pytest.mark.parametrize("times", [4, pytest.param(999, marks=pytest.mark.soak)])
def test_two_sites_claim_at_once_over_ceph(tmp_path, ceph: S3Server, monkeypatch, times):
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", ceph.access_key)
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", ceph.secret_key)
    store = f"s3://{ceph.bucket()}/tide?endpoint={ceph.endpoint}"
    print(race(racing_house(tmp_path, times, store), times))
