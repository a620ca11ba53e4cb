"""What real servers refuse: strangers, clocks that are off, bytes that are not as announced. Never proved on moto."""

from datetime import UTC, datetime, timedelta

import pytest

from relay.clock import SystemClock
from relay.errors import BrokenError, RefusedError
from relay.model import digest_of
from relay.store.port import Store
from tests.contracts.stores.rigs import S3Rig

BODY = b"as it was scanned" * 4000
DIGEST = digest_of(BODY)


class WrongClock(SystemClock):
    """The machine's clock, off by `hours`."""

    def __init__(self, hours: int) -> None:
        self._off = timedelta(hours=hours)

    def now(self) -> datetime:
        return super().now() + self._off


def everything(store: Store) -> list:
    return [
        lambda: store.create("probe/a", BODY, DIGEST),
        lambda: store.read("probe/a"),
        lambda: store.read_into("probe/a", memoryview(bytearray(len(BODY)))),
        lambda: store.size("probe/a"),
        lambda: list(store.list("")),
        lambda: store.replace("probe/a", BODY, DIGEST, DIGEST),
        lambda: store.discard("probe/a"),
    ]


def test_a_wrong_secret_opens_nothing(checking_rig: S3Rig):
    for call in everything(checking_rig.open(secret="not-the-secret")):
        with pytest.raises(RefusedError, match=r"SignatureDoesNotMatch.*secret key does not fit") as told:
            call()
        assert "not-the-secret" not in str(told.value)
    assert checking_rig.open().size("probe/a") is None


def test_an_unknown_key_opens_nothing(checking_rig: S3Rig):
    for call in everything(checking_rig.open(access="nobody")):
        with pytest.raises(RefusedError, match=r"InvalidAccessKeyId.*does not know this access key"):
            call()
    assert checking_rig.open().size("probe/a") is None


@pytest.mark.parametrize("hours", [-24, -1, 1, 24])
def test_a_clock_that_is_off_by_more_than_a_quarter_of_an_hour_is_told(checking_rig: S3Rig, hours: int):
    """15 minutes: RequestTimeTooSkewed, Amazon S3 API reference."""
    store = checking_rig.open(clock=WrongClock(hours))
    calls = everything(store)
    del calls[4]  # lists are signed by boto3, with the machine's own clock
    for call in calls:
        with pytest.raises(RefusedError, match=r"(?s)This machine's clock says .*the store's says 20.*set the clock"):
            call()
    assert abs(store.now() - datetime.now(UTC)) < timedelta(minutes=1)


@pytest.mark.parametrize(
    "arrived",
    [BODY[:-1], BODY + b"x", b"B" + BODY[1:], BODY[1:] + BODY[:1], b""],
    ids=["cut", "extra", "bit", "swap", "none"],
)
def test_bytes_that_are_not_what_was_announced_are_refused_and_not_kept(checking_rig: S3Rig, arrived: bytes):
    """Ceph takes an empty body for anything, so S3Store itself sends none that was announced as something."""
    store = checking_rig.open()
    with pytest.raises(BrokenError, match="not the ones that were hashed"):
        store.create("probe/a", arrived, DIGEST)
    assert store.size("probe/a") is None
    assert store.create("probe/a", BODY, DIGEST)
    with pytest.raises(BrokenError, match="not the ones that were hashed"):
        store.replace("probe/a", arrived, digest_of(b"something else"), DIGEST)
    with pytest.raises(BrokenError, match="not the ones that were hashed"):
        store.create("probe/b", BODY, digest_of(b""))
    assert store.read("probe/a") == BODY
    assert store.size("probe/b") is None
