"""The probe finds every promise kept on stores that keep them, and names the one that is broken where one is."""

import pytest

from relay.errors import RefusedError
from relay.model import digest_of
from relay.store.port import Store
from relay.store.probe import KEYS, WRITERS, Report, check_promises, probe
from relay.store.s3 import S3Store
from relay.store.trial import MIB, SIZES, Promise
from tests.contracts.memory_store import MemoryStore
from tests.contracts.stores.faulty import (
    Careless,
    Forgetful,
    Ignoring,
    ListingLater,
    Muddled,
    Remembering,
    Trickling,
    TricklingList,
)
from tests.contracts.stores.rigs import Rig, S3Rig
from tests.contracts.stores.scripted import PatientClock
from tests.servers.ignoring import FaultyServer
from tests.servers.small_s3 import Fault

BROKEN: list[tuple[type[MemoryStore], Promise, str]] = [
    (Ignoring, "once", "were told that they created it"),
    (Careless, "once", "were told that they created it"),
    (Forgetful, "once", "created again after it had been there|told that they created it"),
    (Muddled, "once", "holds other bytes than its creator's"),
    (Trickling, "whole", "was seen with"),
    (TricklingList, "whole", "was seen with"),
    (Remembering, "at once", "could not be read right after"),
    (ListingLater, "at once", "was not listed right after"),
]


def quick(store: Store, second: Store) -> Report:
    return probe(store, second, keys=8, at_a_time=4, sizes=[2 * MIB] * 6)


def test_the_probe_is_as_hard_as_it_must_be():
    assert WRITERS >= 16
    assert KEYS >= 50
    assert len(SIZES) >= 12
    assert max(SIZES) >= 8 * MIB


def test_a_store_that_keeps_its_promises_passes_and_is_left_clean(rig: Rig):
    report = quick(rig.open(), rig.open())
    check_promises(report)
    assert [finding.promise for finding in report.findings] == ["once", "whole", "at once"]
    assert all(finding.kept for finding in report.findings)
    assert report.refuses_altered_bodies == rig.checks_bodies
    assert abs(report.skew) <= 2
    assert report.left_behind == 0
    assert list(rig.open().list("")) == []


@pytest.mark.parametrize(("kind", "promise", "words"), BROKEN, ids=[kind.__name__ for kind, _, _ in BROKEN])
def test_a_broken_promise_is_named_with_its_evidence(kind: type[MemoryStore], promise: Promise, words: str):
    store = kind()
    report = quick(store, store)
    assert promise in [finding.promise for finding in report.findings if not finding.kept]
    with pytest.raises(RefusedError, match=f"(?s)'{promise}'.*({words}).*Choose another store"):
        check_promises(report)
    assert any("BROKEN" in line and line.startswith(promise) for line in report.lines())


FAULTS: dict[Fault, Promise] = {
    Fault.IGNORES_CONDITION: "once",
    Fault.LOOKS_THEN_WRITES: "once",
    Fault.SHOWS_HALVES: "whole",
    Fault.READS_LATE: "at once",
    Fault.LISTS_LATE: "at once",
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_server_that_breaks_one_promise_is_refused_for_it(fault: Fault):
    server = FaultyServer(fault)
    try:
        rig = S3Rig.on(server, "p")
        report = quick(rig.open(), rig.open())
    finally:
        server.stop()
    assert [finding.promise for finding in report.findings if not finding.kept] == [FAULTS[fault]]
    with pytest.raises(RefusedError, match=f"'{FAULTS[fault]}'"):
        check_promises(report)


def test_the_same_server_without_a_fault_passes():
    server = FaultyServer(Fault.NONE)
    try:
        rig = S3Rig.on(server, "p")
        check_promises(quick(rig.open(), rig.open()))
    finally:
        server.stop()


@pytest.mark.soak
@pytest.mark.parametrize("fault", FAULTS)
def test_a_server_that_breaks_one_promise_is_refused_for_it_twenty_times_of_twenty(fault: Fault):
    server = FaultyServer(fault)
    try:
        for _ in range(20):
            rig = S3Rig.on(server, "p")
            with pytest.raises(RefusedError, match=f"'{FAULTS[fault]}'"):
                check_promises(probe(rig.open(), rig.open()))
    finally:
        server.stop()


@pytest.mark.soak
def test_the_whole_probe_passes_on_every_store(rig: Rig):
    check_promises(probe(rig.open(), rig.open()))


def test_the_probe_tells_how_far_it_is():
    told = []
    store = MemoryStore()
    probe(store, store, keys=3, at_a_time=2, watch=lambda *step: told.append(step))
    assert [step for step in told if step[0] == "once"] == [("once", 1, 3), ("once", 2, 3), ("once", 3, 3)]
    assert [step for step in told if step[0] == "at once"][-1] == ("at once", 3, 3)


def test_skew_versioning_and_what_stays_are_told(moto_s3):
    class Kept(S3Store):
        def discard(self, key: str) -> None:
            raise RefusedError(f"{key} stays: the bucket's policy denies it")

    rig = S3Rig.on(moto_s3, "p", checks_bodies=False)
    server = moto_s3.client()
    server.put_bucket_versioning(Bucket=rig.bucket, VersioningConfiguration={"Status": "Enabled"})
    try:
        store = rig.open()
        store.__class__ = Kept
        report = probe(store, rig.open(), keys=2, clock=PatientClock(store.now()))
        assert report.versioning == "on"
        assert report.left_behind == len(list(rig.open().list("probe/"))) > 0
    finally:
        server.put_bucket_versioning(Bucket=rig.bucket, VersioningConfiguration={"Status": "Suspended"})
        server.close()


def test_a_clock_that_is_off_is_told_in_seconds():
    store = MemoryStore(PatientClock())
    late = PatientClock()
    late.wait(90)
    report = probe(store, store, keys=2, clock=late)
    assert report.skew == -90
    assert "clock: 90 s behind this machine's" in report.lines()
    assert report.versioning == "unknown"


def test_what_lay_there_before_is_not_touched():
    store = MemoryStore()
    store.create("probe/of-another", b"1", digest_of(b"1"))
    quick(store, store)
    assert [line.key for line in store.list("")] == ["probe/of-another"]
