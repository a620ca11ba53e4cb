"""What one object costs the client, by the way it is sent: why S3Store does not send through boto3.

    python -m tests.bench.store_wire [--objects 1000] [--size 65536] [--threads 16] [--rounds 3] [--server ceph]

All ways create conditionally and send the known SHA-256 as the checksum; all but boto3 also sign with it. The server
runs on the same machine, so the wall clock says as much about the server; the client's processor time is ours alone.
"""

import argparse
import hashlib
import http.client
import os
import socket
import statistics
import threading
import time
from base64 import b64encode
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from typing import NamedTuple, Protocol
from urllib.parse import urlsplit

import boto3
import urllib3
from botocore.auth import S3SigV4Auth
from botocore.awsrequest import AWSRequest
from botocore.config import Config
from botocore.credentials import Credentials

from relay.model import Digest, digest_of
from relay.store.s3 import S3Store
from relay.store.signing import EMPTY, Keys, Signer
from tests.servers.s3 import S3Server


class Place(NamedTuple):
    endpoint: str
    bucket: str
    keys: Keys

    @property
    def host(self) -> str:
        return urlsplit(self.endpoint).netloc


class Way(Protocol):
    def put(self, key: str, body: bytes, digest: Digest) -> None: ...

    def get(self, key: str, buffer: memoryview) -> None: ...


def conditions(digest: Digest) -> dict[str, str]:
    return {"if-none-match": "*", "x-amz-checksum-sha256": b64encode(bytes.fromhex(digest)).decode()}


class Boto:
    """boto3 as it comes, checksums only where required; its signer hashes the body once more."""

    def __init__(self, place: Place, threads: int) -> None:
        self._bucket = place.bucket
        self._client = boto3.session.Session(place.keys.access_key, place.keys.secret_key).client(
            "s3",
            endpoint_url=place.endpoint,
            region_name="us-east-1",
            config=Config(
                max_pool_connections=threads,
                s3={"addressing_style": "path"},
                request_checksum_calculation="when_required",
                response_checksum_validation="when_required",
            ),
        )

    def put(self, key: str, body: bytes, digest: Digest) -> None:
        self._client.put_object(
            Bucket=self._bucket,
            Key=key,
            Body=body,
            IfNoneMatch="*",
            ChecksumSHA256=b64encode(bytes.fromhex(digest)).decode(),
        )

    def get(self, key: str, buffer: memoryview) -> None:
        body = self._client.get_object(Bucket=self._bucket, Key=key)["Body"].read()
        buffer[: len(body)] = body


class KnownDigest(S3SigV4Auth):
    """botocore's signer, given the digest instead of the body."""

    def payload(self, request: AWSRequest) -> str:
        return request.context["digest"]


class Urllib3:
    """botocore's transport and signer without the rest of botocore."""

    def __init__(self, place: Place, threads: int) -> None:
        self._place = place
        host = urlsplit(place.endpoint)
        self._pool = urllib3.HTTPConnectionPool(host.hostname or "", host.port, maxsize=threads, retries=False)
        self._signer = KnownDigest(Credentials(place.keys.access_key, place.keys.secret_key), "s3", "us-east-1")

    def _signed(self, method: str, path: str, digest: Digest, headers: dict[str, str]) -> dict[str, str]:
        request = AWSRequest(method=method, url=self._place.endpoint + path, headers=headers)
        request.context["digest"] = digest
        self._signer.add_auth(request)
        return dict(request.headers.items())

    def put(self, key: str, body: bytes, digest: Digest) -> None:
        path = f"/{self._place.bucket}/{key}"
        answer = self._pool.urlopen(
            "PUT", path, body=body, headers=self._signed("PUT", path, digest, conditions(digest))
        )
        assert answer.status == 200

    def get(self, key: str, buffer: memoryview) -> None:
        path = f"/{self._place.bucket}/{key}"
        body = self._pool.urlopen("GET", path, headers=self._signed("GET", path, EMPTY, {})).data
        buffer[: len(body)] = body


class HttpClient:
    """The standard library's connection, one a thread, with our signer."""

    def __init__(self, place: Place, _threads: int) -> None:
        self._place = place
        self._signer = Signer(lambda: place.keys, "us-east-1", place.host)
        self._own = threading.local()

    def _connection(self) -> http.client.HTTPConnection:
        if not hasattr(self._own, "connection"):
            self._own.connection = http.client.HTTPConnection(self._place.host)
            self._own.connection.connect()
            self._own.connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return self._own.connection

    def _asked(self, method: str, key: str, digest: Digest, headers: dict[str, str], body: bytes | None):
        path = f"/{self._place.bucket}/{key}"
        signed = self._signer.signed(method, path, headers, digest, datetime.now(UTC))
        self._connection().request(method, path, body=body, headers=signed)
        answer = self._connection().getresponse()
        assert answer.status == 200
        return answer

    def put(self, key: str, body: bytes, digest: Digest) -> None:
        self._asked("PUT", key, digest, conditions(digest), body).read()

    def get(self, key: str, buffer: memoryview) -> None:
        answer = self._asked("GET", key, EMPTY, {}, None)
        done = 0
        while count := answer.readinto(buffer[done:]):
            done += count


class Ours:
    """S3Store over relay.store.wire."""

    def __init__(self, place: Place, _threads: int) -> None:
        self._store = S3Store(place.bucket, endpoint=place.endpoint, keys=place.keys)

    def put(self, key: str, body: bytes, digest: Digest) -> None:
        assert self._store.create(key, body, digest)

    def get(self, key: str, buffer: memoryview) -> None:
        self._store.read_into(key, buffer)


WAYS: dict[str, Callable[[Place, int], Way]] = {
    "boto3": Boto,
    "urllib3 + botocore's signer": Urllib3,
    "http.client + our signer": HttpClient,
    "relay.store.wire": Ours,
}


class Cost(NamedTuple):
    wall: float  # seconds
    processor: float  # seconds of the client's


def measured(work: Callable[[int], None], objects: int, threads: int) -> Cost:
    wall, processor = time.monotonic(), time.process_time()
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(work, range(objects)))
    return Cost(time.monotonic() - wall, time.process_time() - processor)


def one_round(way: Way, bodies: list[bytes], digests: list[Digest], tag: str, threads: int) -> tuple[Cost, Cost]:
    keys = [f"by-digest/{digest[:2]}/{tag}-{digest}" for digest in digests]
    own = threading.local()

    def get(number: int) -> None:
        if not hasattr(own, "buffer"):
            own.buffer = memoryview(bytearray(len(bodies[0])))
        way.get(keys[number], own.buffer)
        assert hashlib.sha256(own.buffer[:64]).digest() == hashlib.sha256(bodies[number][:64]).digest()

    up = measured(lambda number: way.put(keys[number], bodies[number], digests[number]), len(keys), threads)
    return up, measured(get, len(keys), threads)


def started(server: str) -> S3Server:
    if server == "ceph":
        from tests.servers.ceph import Ceph

        return Ceph()
    from tests.servers.seaweedfs import SeaweedFS

    return SeaweedFS()


def line(name: str, costs: list[tuple[Cost, Cost]], objects: int) -> str:
    def told(costs: list[Cost]) -> str:
        wall = statistics.median(cost.wall for cost in costs)
        each = statistics.median(cost.processor for cost in costs) / objects * 1e3
        return f"{wall:7.2f} s {each:8.3f} ms"

    return f"{name:28} up {told([up for up, _ in costs])}   down {told([down for _, down in costs])}"


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--objects", type=int, default=1000)
    parser.add_argument("--size", type=int, default=65_536)
    parser.add_argument("--threads", type=int, default=16)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--server", choices=["seaweedfs", "ceph"], default="seaweedfs")
    asked = parser.parse_args()
    bodies = [os.urandom(asked.size) for _ in range(asked.objects)]
    digests = [digest_of(body) for body in bodies]
    server = started(asked.server)
    try:
        place = Place(server.endpoint, server.bucket(), Keys(server.access_key, server.secret_key))
        ways = {name: kind(place, asked.threads) for name, kind in WAYS.items()}
        costs: dict[str, list[tuple[Cost, Cost]]] = {name: [] for name in ways}
        for number in range(asked.rounds):
            for name, way in ways.items():
                costs[name].append(one_round(way, bodies, digests, f"{number}-{list(ways).index(name)}", asked.threads))
        print(f"{asked.objects} objects of {asked.size} bytes, {asked.threads} threads, {asked.server}")
        print(f"medians of {asked.rounds} rounds")
        print("wall clock, and processor time of the client for each object")
        for name, found in costs.items():
            print(line(name, found, asked.objects))
    finally:
        server.stop()


if __name__ == "__main__":
    main()
