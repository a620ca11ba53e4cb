"""What S3Store makes of every answer to a write. Codes: Amazon S3 API reference, error responses."""

import base64
import hashlib
import socket
from datetime import UTC, datetime

import pytest

from relay.errors import BrokenError, MissingError, RefusedError, TransientError
from relay.store.bucket import TRIES
from relay.store.s3 import S3Store
from relay.store.signing import Keys
from tests.contracts.stores.scripted import HANG_UP, PatientClock, Reply, Scripted, refusal, reply
from tests.contracts.stores.scripted_store import BODY, BUSY, DIGEST, OK, SECRET, TAKEN, store_on

CONFLICT = refusal(409, "ConditionalRequestConflict")
ERROR = refusal(500, "InternalError")
PASSING = {
    "conflict": CONFLICT,
    "busy": BUSY,
    "error": ERROR,
    "too slow": refusal(400, "RequestTimeout"),
    "cut body": refusal(400, "IncompleteBody"),
    "a proxy's page": reply(502, b"<html>Bad gateway</html>"),
    "too many": reply(429),
    "no answer": HANG_UP,
    "half a line": Reply(b"HTTP/1.1 20", hang_up=True),
    "half the headers": Reply(b"HTTP/1.1 200 OK\r\ncontent-le", hang_up=True),
    "not HTTP": Reply(b"SSH-2.0-OpenSSH_9.2\r\n", hang_up=True),
}


@pytest.mark.parametrize("trouble", PASSING.values(), ids=PASSING.keys())
def test_after_a_passing_trouble_the_same_put_is_sent_again(trouble: Reply):
    clock = PatientClock()
    with Scripted([trouble, trouble, OK]) as server:
        assert store_on(server, clock).create("entries/0000000001", BODY, DIGEST)
    assert len(server.requests) == 3
    assert {(request.method, request.path, request.body) for request in server.requests} == {
        ("PUT", "/b/p/entries/0000000001", BODY)
    }
    assert {request.headers["if-none-match"] for request in server.requests} == {"*"}
    assert len(clock.waits) == 2


def test_a_put_announces_its_digest_in_both_ways_that_servers_check():
    """Amazon S3 API reference, PutObject: x-amz-checksum-sha256 is base64; Signature Version 4: the payload's hash."""
    with Scripted([OK]) as server:
        store_on(server, PatientClock()).create("entries/0000000001", BODY, DIGEST)
    (request,) = server.requests
    hashed = hashlib.sha256(BODY)
    assert request.headers["x-amz-checksum-sha256"] == base64.b64encode(hashed.digest()).decode()
    assert request.headers["x-amz-content-sha256"] == hashed.hexdigest()
    assert "x-amz-checksum-sha256" in request.headers["authorization"]


@pytest.mark.parametrize(("body", "digest"), [(b"", DIGEST), (BODY, hashlib.sha256(b"").hexdigest())])
def test_no_bytes_under_a_digest_of_some_are_not_even_sent(body: bytes, digest: str):
    """Some servers compare no digest where no bytes arrive."""
    with Scripted([OK]) as server, pytest.raises(BrokenError, match="are not the ones that were hashed"):
        store_on(server, PatientClock()).create("entries/0000000001", body, digest)
    assert server.requests == []


@pytest.mark.parametrize("trouble", PASSING.values(), ids=PASSING.keys())
def test_a_put_whose_outcome_stays_unknown_says_so_after_a_few_tries(trouble: Reply):
    clock = PatientClock()
    with (
        Scripted([trouble]) as server,
        pytest.raises(TransientError, match=r"outcome is unknown.*only the same bytes may be sent there") as told,
    ):
        store_on(server, clock).create("entries/0000000001", BODY, DIGEST)
    assert len(server.requests) == TRIES
    assert "PUT p/entries/0000000001" in str(told.value)
    assert SECRET not in str(told.value)


def test_the_waits_grow_and_are_never_alike():
    clock = PatientClock()
    with Scripted([BUSY]) as server:
        store = store_on(server, clock)
        for _ in range(2):
            with pytest.raises(TransientError):
                store.read("a")
    first, second = clock.waits[: TRIES - 1], clock.waits[TRIES - 1 :]
    assert first != second
    for waits in (first, second):
        for count, wait in enumerate(waits):
            longest = min(5.0, 0.3 * 2**count)
            assert longest / 2 <= wait <= longest


def test_a_lost_answer_to_our_own_put_looks_like_a_taken_key():
    with Scripted([HANG_UP, TAKEN]) as server:
        assert not store_on(server).create("entries/0000000001", BODY, DIGEST)
    assert len(server.requests) == 2


def test_a_server_that_never_was_there_is_away():
    with socket.create_server(("127.0.0.1", 0)) as unheard:
        port = unheard.getsockname()[1]
    clock = PatientClock()
    store = S3Store("b", endpoint=f"http://127.0.0.1:{port}", keys=Keys("a", SECRET), clock=clock)
    for call in (
        lambda: store.create("a", BODY, DIGEST),
        lambda: store.read("a"),
        lambda: store.size("a"),
        lambda: list(store.list("")),
        lambda: store.replace("a", BODY, DIGEST, DIGEST),
        store.now,
    ):
        clock.waits.clear()
        with pytest.raises(TransientError, match=r"no answer in 6 tries.*Is the store up|is the store up"):
            call()
        assert len(clock.waits) == TRIES - 1


def test_a_silent_server_is_given_up():
    with socket.create_server(("127.0.0.1", 0)) as silent:
        endpoint = f"http://127.0.0.1:{silent.getsockname()[1]}"
        store = S3Store("b", endpoint=endpoint, keys=Keys("a", SECRET), clock=PatientClock(), tries=2, silence=0.1)
        with pytest.raises(TransientError, match="timed out"):
            store.create("a", BODY, DIGEST)


LASTING = {
    "BadDigest": (400, BrokenError, "not the ones that were hashed"),
    "XAmzContentSHA256Mismatch": (400, BrokenError, "not the ones that were hashed"),
    "SignatureDoesNotMatch": (403, RefusedError, "secret key does not fit"),
    "InvalidAccessKeyId": (403, RefusedError, "does not know this access key"),
    "ExpiredToken": (400, RefusedError, "run out"),
    "AccessDenied": (403, RefusedError, "may not do this"),
    "NoSuchBucket": (404, MissingError, "no such bucket"),
    "PermanentRedirect": (301, RefusedError, "lies in region eu-north-1"),
    "AuthorizationHeaderMalformed": (400, RefusedError, "lies in region eu-north-1"),
    "NotImplemented": (501, RefusedError, "Use another|use another"),
    "QuotaExceeded": (403, TransientError, "make room"),
    "XMinioStorageFull": (507, TransientError, "make room"),
    "KeyTooLongError": (400, RefusedError, "Change what was asked"),
}


@pytest.mark.parametrize("code", LASTING)
def test_a_lasting_refusal_is_said_once_in_its_family(code: str):
    status, family, words = LASTING[code]
    clock = PatientClock()
    with (
        Scripted([refusal(status, code, "It&#39;s so\x07", "<Region>eu-north-1</Region>")]) as server,
        pytest.raises(family, match=words) as told,
    ):
        store_on(server, clock).create("a", BODY, DIGEST)
    assert type(told.value) is family
    assert f"{status} {code} (It's so)" in str(told.value)
    assert len(server.requests) == 1
    assert clock.waits == []


def test_clocks_that_differ_are_both_said():
    skewed = refusal(403, "RequestTimeTooSkewed")
    with Scripted([skewed]) as server:
        store = store_on(server, PatientClock(datetime(2026, 9, 1, 13, tzinfo=UTC)))
        with pytest.raises(
            RefusedError, match=r"says 2026-09-01T13:00:00\+00:00, the store's says 2026-09-01T12:00:00"
        ):
            store.create("a", BODY, DIGEST)
        assert store.now() == datetime(2026, 9, 1, 12, tzinfo=UTC)


def test_a_server_without_a_date_is_not_trusted_to_tell_the_time():
    with (
        Scripted([Reply(b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\n\r\n")]) as server,
        pytest.raises(RefusedError, match="Date"),
    ):
        store_on(server).now()
