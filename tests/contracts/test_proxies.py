"""The unkind networks that other tests stand on do to requests what they say, and nothing else."""

import os
import socket
import time
from contextlib import suppress

import pytest
from botocore.exceptions import BotoCoreError, ClientError

from tests.servers.cutting import CuttingProxy
from tests.servers.delaying import DelayingProxy
from tests.servers.failing import FailingProxy, Fate
from tests.servers.ignoring import FaultyServer
from tests.servers.proxy import address_of

MEBIBYTE = 1024 * 1024


@pytest.fixture(scope="module")
def server():
    server = FaultyServer()
    yield server
    server.stop()


def keys_in(server, bucket: str) -> list[str]:
    return [line["Key"] for line in server.client().list_objects_v2(Bucket=bucket).get("Contents", [])]


def put(proxy, bucket: str, key: str = "key", body: bytes = b"body", attempts: int = 1, **how: str):
    return proxy.client(attempts=attempts).put_object(Bucket=bucket, Key=key, Body=body, **how)


def test_a_long_line_carries_bytes_unchanged_and_no_faster_than_it_says(server):
    bucket, body = server.bucket(), os.urandom(4 * MEBIBYTE)
    with DelayingProxy(server, round_trip=0.1, rate=16 * MEBIBYTE) as line:
        client = line.client()
        client.list_objects_v2(Bucket=bucket)
        started = time.monotonic()
        client.put_object(Bucket=bucket, Key="key", Body=body)
        got = client.get_object(Bucket=bucket, Key="key")["Body"].read()
        took = time.monotonic() - started

    assert got == body
    # Two round trips at least, and the body twice at 16 MiB a second, of which 30 ms may be made up for each time.
    assert took > 2 * 0.1 + 2 * (4 / 16 - 0.03)


def test_nothing_is_kept_of_a_request_whose_body_is_shorter_than_it_says(server):
    """RFC 9112, section 8: such a message is incomplete. A cut line leaves one behind."""
    bucket = server.bucket()
    with socket.create_connection(address_of(server.endpoint)) as connection:
        connection.sendall(f"PUT /{bucket}/key HTTP/1.1\r\nHost: here\r\nContent-Length: 100\r\n\r\nshort".encode())
        connection.shutdown(socket.SHUT_WR)
        assert connection.recv(1) == b""
    assert keys_in(server, bucket) == []


def test_a_cut_line_breaks_what_it_carries_and_works_again(server):
    bucket = server.bucket()
    with CuttingProxy(server) as line:
        line.cut_after(MEBIBYTE)
        with pytest.raises(BotoCoreError):
            put(line, bucket, body=bytes(4 * MEBIBYTE))
        assert (line.cuts, line.passed, keys_in(server, bucket)) == (1, MEBIBYTE, [])

        put(line, bucket, body=bytes(4 * MEBIBYTE))
        assert (line.cuts, keys_in(server, bucket)) == (1, ["key"])


def test_a_line_cut_in_the_answer_never_gives_a_short_body_for_a_whole_one(server):
    bucket = server.bucket()
    put(server, bucket, body=bytes(4 * MEBIBYTE))
    with CuttingProxy(server) as line:
        line.cut_after(2 * MEBIBYTE)
        with pytest.raises(BotoCoreError):
            line.client(attempts=1).get_object(Bucket=bucket, Key="key")["Body"].read()


def test_a_line_is_cut_at_the_same_random_places_for_the_same_seed(server):
    def places(seed: int) -> list[int]:
        bucket, found = server.bucket(), []
        with CuttingProxy(server) as line:
            line.cut_at_random(3, 6 * MEBIBYTE, seed)
            client = line.client(attempts=1)
            while line.cuts < 3:
                try:
                    client.put_object(Bucket=bucket, Key="key", Body=bytes(MEBIBYTE))
                except BotoCoreError:
                    found.append(line.passed)
        return found

    assert len(places(7)) == 3
    assert places(7) == places(7) != places(8)


@pytest.mark.parametrize(
    ("fate", "is_there"),
    [
        (Fate.LOSE_REQUEST, False),
        (Fate.CUT_BODY, False),
        (Fate.LOSE_ANSWER, True),
        (Fate.CUT_ANSWER, True),
    ],
)
def test_a_client_whose_line_fails_cannot_tell_whether_its_write_happened(server, fate, is_there):
    bucket = server.bucket()
    with FailingProxy(server) as line:
        line.next(fate)
        with pytest.raises(BotoCoreError):
            put(line, bucket, body=bytes(MEBIBYTE))

        assert keys_in(server, bucket) == (["key"] if is_there else [])
        put(line, bucket)
        assert [asked.fate for asked in line.asked] == [fate, Fate.PASS]


def test_a_request_that_lands_late_is_there_after_its_client_gave_up(server):
    bucket = server.bucket()
    with FailingProxy(server, lateness=0.3) as line:
        line.next(Fate.LAND_LATE)
        with pytest.raises(BotoCoreError):
            put(line, bucket)
        while not keys_in(server, bucket):
            time.sleep(0.05)

    assert server.client().get_object(Bucket=bucket, Key="key")["Body"].read() == b"body"


def test_the_echo_of_a_write_whose_answer_was_lost_reads_as_taken(server):
    bucket = server.bucket()
    with FailingProxy(server) as line:
        line.next(Fate.LOSE_ANSWER)
        with pytest.raises(ClientError, match="PreconditionFailed"):
            put(line, bucket, attempts=3, IfNoneMatch="*")

    assert server.client().get_object(Bucket=bucket, Key="key")["Body"].read() == b"body"


@pytest.mark.parametrize(
    ("fate", "status", "code"),
    [(Fate.SLOW_DOWN, 503, "SlowDown"), (Fate.CONFLICT, 409, "ConditionalRequestConflict")],
)
def test_a_refused_write_never_reaches_the_server(server, fate, status, code):
    # Both as Amazon S3's API reference lists them under "List of error codes".
    bucket = server.bucket()
    with FailingProxy(server) as line:
        line.next(fate)
        with pytest.raises(ClientError, match=code) as refused:
            put(line, bucket)

    assert refused.value.response["ResponseMetadata"]["HTTPStatusCode"] == status
    assert keys_in(server, bucket) == []


def test_fates_are_drawn_from_the_seed_and_strike_only_what_they_may(server):
    def fates(seed: int) -> list[Fate]:
        bucket = server.bucket()
        shares = {Fate.LOSE_ANSWER: 0.3, Fate.LOSE_REQUEST: 0.3}
        with FailingProxy(server, seed, shares, only=lambda _method, path: "kept" not in path) as line:
            client = line.client(attempts=1)
            for number in range(20):
                client.put_object(Bucket=bucket, Key=f"kept/{number}", Body=b"body")
                with suppress(BotoCoreError):
                    client.put_object(Bucket=bucket, Key=f"{number}", Body=b"body")
            assert all(asked.fate is Fate.PASS for asked in line.asked if "kept" in asked.path)
            assert 0 < line.count(Fate.LOSE_ANSWER) < 20
            return [asked.fate for asked in line.asked]

    assert fates(3) == fates(3) != fates(4)
