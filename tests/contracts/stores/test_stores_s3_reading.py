"""What S3Store makes of answers to reads and lists: cut, garbled, too long, out of order. Framing: RFC 9112."""

import sys

import pytest

from relay.errors import BrokenError, MissingError, RefusedError, TransientError
from relay.model import digest_of
from relay.store.bucket import TRIES
from tests.contracts.stores.scripted import PatientClock, Reply, Scripted, refusal, reply
from tests.contracts.stores.scripted_store import BODY, BUSY, DIGEST, OK, TAKEN, store_on

GONE = refusal(404, "NoSuchKey")
CUT = Reply(b"HTTP/1.1 200 OK\r\ncontent-length: 100\r\n\r\n" + b"x" * 99, hang_up=True)
CUT_CHUNKS = Reply(b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n64\r\n" + b"x" * 50, hang_up=True)
NO_LAST_CHUNK = Reply(b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n4\r\nxxxx\r\n", hang_up=True)
LYING_CHUNK = Reply(b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n3\r\nxxxx\r\n0\r\n\r\n")
BAD_CHUNK = Reply(b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n-5\r\nxxxx\r\n0\r\n\r\n", hang_up=True)
TWO_LENGTHS = Reply(b"HTTP/1.1 200 OK\r\ncontent-length: 4\r\ncontent-length: 5\r\n\r\nxxxxx", hang_up=True)
NO_LENGTH = Reply(b"HTTP/1.1 200 OK\r\n\r\nxxxx", hang_up=True)
FLOOD = Reply(b"HTTP/1.1 200 OK\r\n" + b"a: b\r\n" * 20_000 + b"content-length: 0\r\n\r\n", hang_up=True)
LONG_LINE = Reply(b"HTTP/1.1 200 OK\r\na: " + b"b" * 100_000 + b"\r\n\r\n", hang_up=True)
GARBLED = {
    "cut": CUT,
    "cut chunks": CUT_CHUNKS,
    "no last chunk": NO_LAST_CHUNK,
    "lying chunk": LYING_CHUNK,
    "negative chunk": BAD_CHUNK,
    "two lengths": TWO_LENGTHS,
    "no length": NO_LENGTH,
    "flood": FLOOD,
    "long line": LONG_LINE,
}


@pytest.mark.parametrize("garbled", GARBLED.values(), ids=GARBLED.keys())
def test_an_answer_that_was_cut_or_garbled_is_asked_for_again_and_never_believed(garbled: Reply):
    with Scripted([garbled, reply(200, BODY)]) as server:
        assert store_on(server).read("a") == BODY
    buffer = bytearray(len(BODY))
    with Scripted([garbled, reply(200, BODY)]) as server:
        assert store_on(server).read_into("a", memoryview(buffer)) == len(BODY)
    assert buffer == BODY
    with Scripted([garbled]) as server, pytest.raises(TransientError):
        store_on(server).read("a")
    assert len(server.requests) == TRIES


def test_an_answer_in_chunks_is_read_whole_and_its_connection_kept():
    chunked = Reply(
        b"HTTP/1.1 100 Continue\r\n\r\nHTTP/1.1 200 OK\r\nTransfer-Encoding: Chunked\r\n\r\n"
        b"4;note=1\r\nreel\r\nA\r\n0123456789\r\n0\r\nx-trailer: 1\r\n\r\n"
    )
    with Scripted([chunked]) as server:
        store = store_on(server)
        assert store.read("a") == b"reel0123456789"
        buffer = bytearray(20)
        assert store.read_into("a", memoryview(buffer)) == 14
        assert bytes(buffer[:14]) == b"reel0123456789"
        with pytest.raises(BrokenError, match="at most 5"):
            store.read("a", limit=5)
        assert store.read("a") == b"reel0123456789"
    assert server.connections == 2  # one more after the body that was left unread


@pytest.mark.parametrize(("pause", "whole"), [(0.1, True), (0.9, False)])
def test_a_large_body_may_come_slowly_but_not_fall_silent(pause, whole):
    """It comes in pieces far smaller than those that a large body is woken for."""
    body = bytes(range(256)) * 16_384
    pieces = tuple(body[start : start + 350_000] for start in range(0, len(body), 350_000))
    buffer = bytearray(len(body))
    with Scripted([Reply(reply(200, body).raw.removesuffix(body), pieces=pieces, pause=pause)]) as server:
        store = store_on(server, silence=0.25, tries=1)
        if whole:
            assert store.read_into("a", memoryview(buffer)) == len(body)
            assert buffer == body
        else:
            with pytest.raises(TransientError, match="timed out"):
                store.read_into("a", memoryview(buffer))


def test_a_huge_object_is_refused_from_its_length_alone():
    huge = Reply(b"HTTP/1.1 200 OK\r\ncontent-length: 99999999999999\r\n\r\nxxxx")
    with (
        Scripted([huge]) as server,
        pytest.raises(BrokenError, match="holds 99999999999999 bytes, where at most 134217728 were expected"),
    ):
        store_on(server).read("a")


def test_a_connection_with_a_body_still_in_it_is_not_used_again():
    heading_alone = Reply(b"HTTP/1.1 200 OK\r\ncontent-length: 5\r\n\r\n")
    with Scripted([heading_alone, OK]) as server:
        store = store_on(server)
        with pytest.raises(BrokenError, match="holds 5 bytes"):
            store.read("a", limit=4)
        assert store.create("a", BODY, DIGEST)
    assert server.connections == 2


def test_a_connection_is_kept_and_replaced_without_a_wait_when_the_server_has_closed_it():
    clock = PatientClock()
    with Scripted([OK]) as server:
        store = store_on(server, clock)
        for number in range(5):
            assert store.create(f"probe/{number}", BODY, DIGEST)
        assert server.connections == 1
        server.hang_up_all()
        assert store.create("probe/5", BODY, DIGEST)
        assert server.connections == 2
    assert clock.waits == []
    assert len(server.requests) == 6


def test_what_a_server_says_unasked_is_no_answer_to_the_next_question():
    taken_and_more = Reply(TAKEN.raw + OK.raw)
    with Scripted([taken_and_more]) as server:
        store = store_on(server)
        for number in range(3):
            assert not store.create(f"probe/{number}", BODY, DIGEST)
    assert server.connections == 3


def test_a_server_that_asks_to_close_is_left_alone():
    with Scripted([reply(200, connection="close")]) as server:
        store = store_on(server)
        for number in range(3):
            assert store.create(f"probe/{number}", BODY, DIGEST)
    assert server.connections == 3


def test_after_a_fork_no_connection_is_shared(monkeypatch):
    with Scripted([OK]) as server:
        store = store_on(server)
        assert store.create("probe/1", BODY, DIGEST)
        monkeypatch.setattr("os.getpid", lambda: -1)
        assert store.create("probe/2", BODY, DIGEST)
    assert server.connections == 2


@pytest.mark.skipif(sys.platform != "linux", reason="other kernels may drop what came in before the hang-up")
def test_an_early_refusal_is_heard_while_the_body_is_still_going_out():
    big = bytes(40_000_000)
    with Scripted([Reply(TAKEN.raw, before_body=True)]) as server:
        assert not store_on(server).create("probe/big", big, digest_of(big))
    assert len(server.requests) == 1


def test_a_size_is_asked_without_the_body_and_a_missing_bucket_is_no_missing_object():
    with Scripted([Reply(b"HTTP/1.1 200 OK\r\ncontent-length: 12748800\r\n\r\n")]) as server:
        assert store_on(server).size("a") == 12_748_800
    no_words = Reply(b"HTTP/1.1 404 Not Found\r\ncontent-length: 0\r\n\r\n")
    with Scripted([no_words, GONE, no_words]) as server:
        store = store_on(server)
        assert store.size("a") is None
        assert store.size("a") is None
        assert [request.method for request in server.requests] == ["HEAD", "GET", "HEAD"]
    with (
        Scripted([no_words, refusal(404, "NoSuchBucket")]) as server,
        pytest.raises(MissingError, match="no such bucket"),
    ):
        store_on(server).size("a")
    with (
        Scripted(
            [Reply(b"HTTP/1.1 403 Forbidden\r\ncontent-length: 0\r\n\r\n"), refusal(403, "AccessDenied")]
        ) as server,
        pytest.raises(RefusedError, match="AccessDenied"),
    ):
        store_on(server).size("a")


def page(keys: list[str], more: str) -> Reply:
    lines = "".join(f"<Contents><Key>p/{key}</Key><Size>1</Size></Contents>" for key in keys)
    return reply(200, f"<ListBucketResult><IsTruncated>{more}</IsTruncated>{lines}</ListBucketResult>".encode())


def test_a_list_goes_on_after_its_last_key_and_survives_a_busy_moment():
    with Scripted([page(["a1", "a2"], "true"), BUSY, page(["a3"], "false")]) as server:
        assert [line.key for line in store_on(server).list("a", after="a0")] == ["a1", "a2", "a3"]
    assert [request.path.split("start-after=")[1].split("&")[0] for request in server.requests] == ["p%2Fa0"] + [
        "p%2Fa2"
    ] * 2


@pytest.mark.parametrize("pages", [[["a2", "a1"]], [["a1", "a1"]], [["a1"], ["a1"]], [["a0"]]])
def test_a_list_out_of_order_is_not_believed(pages: list[list[str]]):
    with (
        Scripted([page(keys, "true") for keys in pages]) as server,
        pytest.raises(BrokenError, match="order of their bytes"),
    ):
        list(store_on(server).list("a", after="a0"))


def test_a_list_that_promises_more_and_shows_nothing_is_not_believed():
    with Scripted([page([], "true")]) as server, pytest.raises(BrokenError, match="shows nothing"):
        list(store_on(server).list("a"))


def test_what_a_list_is_refused_is_said_in_its_family():
    for said, family, words in (
        (refusal(404, "NoSuchBucket"), MissingError, "no such bucket"),
        (refusal(403, "AccessDenied"), RefusedError, "may not do this"),
    ):
        with Scripted([said]) as server, pytest.raises(family, match=words):
            list(store_on(server).list("a"))


def test_versioning_is_told_where_it_may_be_known():
    for said, expected in (
        (reply(200, b"<VersioningConfiguration><Status>Enabled</Status></VersioningConfiguration>"), "on"),
        (reply(200, b"<VersioningConfiguration><Status>Suspended</Status></VersioningConfiguration>"), "off"),
        (reply(200, b"<VersioningConfiguration/>"), "off"),
        (refusal(403, "AccessDenied"), "unknown"),
        (refusal(501, "NotImplemented"), "unknown"),
    ):
        with Scripted([said]) as server:
            assert store_on(server).versioning() == expected
