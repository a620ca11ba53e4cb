"""How S3Store repairs, and with whose keys it asks."""

from datetime import UTC, datetime, timedelta

import pytest
from botocore.credentials import RefreshableCredentials

from relay.errors import RefusedError, TransientError
from relay.model import digest_of
from relay.store.s3 import S3Store
from relay.store.signing import Keys
from tests.contracts.stores.scripted import HANG_UP, PatientClock, Reply, Scripted, refusal, reply
from tests.contracts.stores.scripted_store import BODY, DIGEST, OK, SECRET, TAKEN, store_on


def found(body: bytes) -> Reply:
    return reply(200, body, etag='"e1"')


def test_a_repair_names_what_it_replaces_quoted_first_and_bare_for_ceph():
    with Scripted([found(b"bad"), TAKEN, OK]) as server:
        assert store_on(server).replace("a", BODY, DIGEST, digest_of(b"bad"))
    assert [request.headers.get("if-match") for request in server.requests] == [None, '"e1"', "e1"]
    assert all("if-none-match" not in request.headers for request in server.requests)


def test_a_repair_of_other_bytes_than_the_bad_ones_sends_nothing():
    with Scripted([found(b"neither"), OK]) as server:
        assert not store_on(server).replace("a", BODY, DIGEST, digest_of(b"bad"))
    assert [request.method for request in server.requests] == ["GET"]


def test_a_repair_that_came_too_late_says_so_unless_it_was_our_own():
    with Scripted([found(b"bad"), TAKEN, TAKEN, found(b"other")]) as server:
        assert not store_on(server).replace("a", BODY, DIGEST, digest_of(b"bad"))
    with Scripted([found(b"bad"), HANG_UP, TAKEN, TAKEN, found(BODY)]) as server:
        assert store_on(server).replace("a", BODY, DIGEST, digest_of(b"bad"))
    with Scripted([found(b"bad"), refusal(404, "NoSuchKey")]) as server:
        assert not store_on(server).replace("a", BODY, DIGEST, digest_of(b"bad"))


def test_keys_that_expire_are_refreshed(monkeypatch):
    """A session's keys are renewed by botocore, whose advisory window is 15 minutes before they expire."""
    issued = iter(range(1, 100))

    def issue() -> dict[str, str]:
        number = next(issued)
        until = datetime.now(UTC) + timedelta(minutes=1 if number == 1 else 60)
        names = ("access_key", "secret_key", "token")
        return {**{name: f"{name}-{number}" for name in names}, "expiry_time": until.isoformat()}

    keys = RefreshableCredentials.create_from_metadata(issue(), issue, "test")
    monkeypatch.setattr("botocore.session.Session.get_credentials", lambda _self: keys)
    with Scripted([OK]) as server:
        store = store_on(server, keys=None)
        store.create("probe/1", BODY, DIGEST)
        store.create("probe/2", BODY, DIGEST)
    assert {request.headers["x-amz-security-token"] for request in server.requests} == {"token-2"}
    assert all("access_key-2/" in request.headers["authorization"] for request in server.requests)
    assert all("x-amz-security-token" in request.headers["authorization"] for request in server.requests)


def test_without_keys_it_is_said_where_to_put_them(monkeypatch):
    monkeypatch.setattr("botocore.session.Session.get_credentials", lambda _self: None)
    with pytest.raises(RefusedError, match="no keys were found"):
        S3Store("b", endpoint="http://127.0.0.1:1")


@pytest.mark.parametrize(
    ("bucket", "region", "host", "path"),
    [
        ("reels", "eu-north-1", "reels.s3.eu-north-1.amazonaws.com", "/p/a"),
        ("reels.of.1921", "eu-north-1", "s3.eu-north-1.amazonaws.com", "/reels.of.1921/p/a"),
        ("reels", "cn-north-1", "reels.s3.cn-north-1.amazonaws.com.cn", "/p/a"),
    ],
)
def test_without_an_endpoint_the_bucket_s_usual_address_is_asked(monkeypatch, bucket, region, host, path):
    """Virtual-hosted-style requests, and path-style for names with dots: Amazon S3 user guide, "Accessing a bucket"."""
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:1")
    dialled = []

    def dial(where: tuple[str, int], *_args):
        dialled.append(where)
        raise ConnectionRefusedError

    monkeypatch.setattr("socket.create_connection", dial)
    store = S3Store(bucket, "p", region=region, keys=Keys("a", SECRET), clock=PatientClock(), tries=1)
    with pytest.raises(TransientError):
        store.read("a")
    assert dialled == [(host, 443)]
    assert f"{store._bucket._base}/p/a" == path


def test_no_secret_is_in_the_name():
    with Scripted([OK]) as server:
        store = store_on(server)
    assert store.name == f"s3://b/p at {server.endpoint}"
    assert SECRET not in f"{store.name} {store!r} {vars(store)}"
