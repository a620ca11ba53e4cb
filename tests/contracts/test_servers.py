"""The servers that other tests stand on: they start, keep what they acknowledged, and are as good or bad as they say.

Conditional writes: Amazon S3's API reference, PutObject, If-None-Match (412 Precondition Failed).
"""

import shutil
import subprocess
import sys
import threading
import time
import uuid
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from botocore.exceptions import ClientError, EndpointConnectionError

from tests.servers.ignoring import FaultyServer
from tests.servers.small_s3 import LATE, Fault

ROOT = Path(__file__).parents[2]
KEEPING = [
    pytest.param("seaweedfs", marks=pytest.mark.seaweedfs),
    pytest.param("ceph", marks=pytest.mark.ceph),
]
HONEST = [*KEEPING, "moto_s3"]


def code_of(error: pytest.ExceptionInfo[ClientError]) -> int:
    return error.value.response["ResponseMetadata"]["HTTPStatusCode"]


@pytest.fixture
def server(request):
    return request.getfixturevalue(request.param)


@pytest.fixture
def broken(request):
    server = FaultyServer(request.param)
    yield server
    server.stop()


@pytest.mark.parametrize("server", [*HONEST, "ignoring_s3"], indirect=True)
def test_a_server_returns_what_was_stored(server):
    bucket, client, body = server.bucket(), server.client(), uuid.uuid4().bytes * 100_000
    client.put_object(Bucket=bucket, Key="reels/R01", Body=body)

    assert client.get_object(Bucket=bucket, Key="reels/R01")["Body"].read() == body
    assert client.head_object(Bucket=bucket, Key="reels/R01")["ContentLength"] == len(body)
    assert [line["Key"] for line in client.list_objects_v2(Bucket=bucket)["Contents"]] == ["reels/R01"]
    client.delete_object(Bucket=bucket, Key="reels/R01")
    assert client.list_objects_v2(Bucket=bucket)["KeyCount"] == 0


@pytest.mark.parametrize("server", HONEST, indirect=True)
def test_an_honest_server_creates_a_key_once(server):
    bucket, client = server.bucket(), server.client()
    client.put_object(Bucket=bucket, Key="entry", Body=b"first", IfNoneMatch="*")

    with pytest.raises(ClientError) as refused:
        client.put_object(Bucket=bucket, Key="entry", Body=b"second", IfNoneMatch="*")

    assert code_of(refused) == 412
    assert client.get_object(Bucket=bucket, Key="entry")["Body"].read() == b"first"


def test_the_ignoring_server_lets_every_writer_win(ignoring_s3):
    bucket, client = ignoring_s3.bucket(), ignoring_s3.client()
    client.put_object(Bucket=bucket, Key="entry", Body=b"first", IfNoneMatch="*")
    client.put_object(Bucket=bucket, Key="entry", Body=b"second", IfNoneMatch="*")

    assert client.get_object(Bucket=bucket, Key="entry")["Body"].read() == b"second"


@pytest.mark.parametrize("server", KEEPING, indirect=True)
def test_a_server_killed_without_a_word_comes_back_with_what_it_acknowledged(server):
    bucket, client = server.bucket(), server.client(attempts=1)
    for number in range(20):
        client.put_object(Bucket=bucket, Key=f"{number}", Body=b"%d" % number)

    server.kill9()
    with pytest.raises(EndpointConnectionError):
        client.get_object(Bucket=bucket, Key="0")
    server.restart()

    kept = [server.client().get_object(Bucket=bucket, Key=f"{number}")["Body"].read() for number in range(20)]
    assert kept == [b"%d" % number for number in range(20)]


def test_a_stopped_server_leaves_nothing():
    server = FaultyServer()
    process = server.processes[0]
    server.stop()

    assert not process.is_running()
    assert not server.folder.exists()


@pytest.mark.skipif(shutil.which("setpriv") is None, reason="no setpriv found: it is part of util-linux")
def test_a_server_ends_with_the_tests_that_were_killed():
    lines = [
        "import os, signal",
        "from tests.servers.ignoring import FaultyServer",
        "server = FaultyServer()",
        "print(server.processes[0].pid, server.folder, flush=True)",
        "os.kill(os.getpid(), signal.SIGKILL)",
    ]
    words = [sys.executable, "-c", "\n".join(lines)]
    killed = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    pid, folder = killed.stdout.split()

    status = Path("/proc", pid, "status")
    while status.exists() and "zombie" not in status.read_text():
        time.sleep(0.05)
    shutil.rmtree(folder)


def test_the_small_server_pages_its_lists_in_the_order_of_bytes():
    server = FaultyServer()
    bucket, client = server.bucket(), server.client()
    keys = ["a-", "a/1", "a0", "b&c", "é"]
    for key in keys:
        client.put_object(Bucket=bucket, Key=key, Body=b"")
    pages = client.get_paginator("list_objects_v2").paginate(Bucket=bucket, PaginationConfig={"PageSize": 2})

    assert [line["Key"] for page in pages for line in page["Contents"]] == keys
    after = client.list_objects_v2(Bucket=bucket, StartAfter="a/1", Prefix="a")
    assert [line["Key"] for line in after["Contents"]] == ["a0"]
    server.stop()


@pytest.mark.parametrize("broken", [Fault.LOOKS_THEN_WRITES], indirect=True)
def test_a_server_that_looks_then_writes_honours_the_condition_only_when_asked_calmly(broken):
    bucket, client = broken.bucket(), broken.client()
    start = threading.Barrier(8)

    def created(key: str) -> bool:
        client.head_bucket(Bucket=bucket)  # opens a connection: those would come one after the other, and race no more
        start.wait()
        try:
            client.put_object(Bucket=bucket, Key=key, Body=b"mine", IfNoneMatch="*")
        except ClientError:
            return False
        return True

    with ThreadPoolExecutor(8) as writers:  # on a busy machine all eight may come too late once
        won = (sum(writers.map(created, [f"raced/{turn}"] * 8)) for turn in range(20))
        assert any(count > 1 for count in won)
    with pytest.raises(ClientError) as refused:
        client.put_object(Bucket=bucket, Key="raced/0", Body=b"late", IfNoneMatch="*")
    assert code_of(refused) == 412


@pytest.mark.parametrize("broken", [Fault.READS_LATE], indirect=True)
def test_a_server_that_reads_late_misses_what_was_just_created(broken):
    bucket, client = broken.bucket(), broken.client()
    client.put_object(Bucket=bucket, Key="new", Body=b"here")

    for _ in range(LATE):
        with pytest.raises(client.exceptions.NoSuchKey):
            client.get_object(Bucket=bucket, Key="new")
    assert client.get_object(Bucket=bucket, Key="new")["Body"].read() == b"here"
