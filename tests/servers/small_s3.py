"""An S3 server in memory, small enough to break on purpose, one promise at a time. Run it through `ignoring.py`.

It checks no signature. Keys, pages and errors are as in the API reference of Amazon S3, as far as one bucket's objects
need them: PUT, GET, HEAD, DELETE and ListObjectsV2 with prefix, start-after and pages.
"""

import hashlib
import sys
import threading
import time
from collections import Counter
from enum import StrEnum
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import NamedTuple
from urllib.parse import parse_qs, unquote, urlsplit
from xml.sax.saxutils import escape


class Fault(StrEnum):
    """What it does wrong."""

    NONE = "none"
    IGNORES_CONDITION = "ignores-condition"
    """Every writer wins, as on many servers that speak S3."""
    LOOKS_THEN_WRITES = "looks-then-writes"
    """Honours the condition when asked calmly, and not in a race."""
    SHOWS_HALVES = "shows-halves"
    """A reader may see the front of an object that is being written."""
    READS_LATE = "reads-late"
    """The first readers of a new object are told that there is none."""
    LISTS_LATE = "lists-late"
    """The first listings do not show it."""


LATE = 3  # looks that still miss what was created
GAP = 0.02  # seconds between a look and the write that it was for


class Stored(NamedTuple):
    body: bytes

    @property
    def tag(self) -> str:
        return f'"{hashlib.md5(self.body, usedforsecurity=False).hexdigest()}"'


class Objects:
    """What all connections share: buckets, and objects by bucket/key."""

    def __init__(self, fault: Fault) -> None:
        self._fault = fault
        self._lock = threading.Lock()
        self._objects: dict[str, Stored] = {}
        self._looks: Counter[str] = Counter()
        self.buckets: set[str] = set()

    def put(self, name: str, body: bytes, wants_none: bool, wants_tag: str | None) -> bool:
        """Store `body` where the condition holds, or where the fault forgets it."""
        if self._fault is Fault.LOOKS_THEN_WRITES:
            held = self._holds(name, wants_none, wants_tag)
            time.sleep(GAP)
            return held and self._write(name, body)
        with self._lock:
            if self._fault is not Fault.IGNORES_CONDITION and not self._holds(name, wants_none, wants_tag):
                return False
            return self._write(name, body)

    def get(self, name: str) -> Stored | None:
        return self._seen(name, Fault.READS_LATE)

    def discard(self, name: str) -> None:
        self._objects.pop(name, None)

    def listed(self, bucket: str) -> list[tuple[str, Stored]]:
        """Return what lies in `bucket`, in the order of the bytes of its keys."""
        start = f"{bucket}/"
        names = [name for name in list(self._objects) if name.startswith(start)]
        seen = [(name.removeprefix(start), self._seen(name, Fault.LISTS_LATE)) for name in names]
        return sorted(((key, there) for key, there in seen if there), key=lambda line: line[0].encode())

    def _holds(self, name: str, wants_none: bool, wants_tag: str | None) -> bool:
        there = self._objects.get(name)
        if wants_none and there:
            return False
        return wants_tag is None or (there is not None and wants_tag in {there.tag, there.tag.strip('"')})

    def _write(self, name: str, body: bytes) -> bool:
        if self._fault is Fault.SHOWS_HALVES:
            self._objects[name] = Stored(body[: len(body) // 2])
            time.sleep(GAP)
        self._objects[name] = Stored(body)
        return True

    def _seen(self, name: str, late: Fault) -> Stored | None:
        there = self._objects.get(name)
        if there and self._fault is late:
            self._looks[name] += 1
            return there if self._looks[name] > LATE else None
        return there


class Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    disable_nagle_algorithm = True
    objects: Objects

    def do_PUT(self) -> None:
        announced = int(self.headers.get("Content-Length", 0))
        body = self.rfile.read(announced)
        bucket, key = self._asked()
        if len(body) < announced:
            self.close_connection = True  # an incomplete request, RFC 9112 section 8: nothing of it is kept
        elif not key:
            self.objects.buckets.add(bucket)
            self._answer(200)
        elif bucket not in self.objects.buckets:
            self._refuse(404, "NoSuchBucket")
        elif self.objects.put(
            f"{bucket}/{key}", body, self.headers.get("If-None-Match") == "*", self.headers.get("If-Match")
        ):
            self._answer(200, tag=Stored(body).tag)
        else:
            self._refuse(412, "PreconditionFailed")

    def do_GET(self) -> None:
        bucket, key = self._asked()
        if bucket not in self.objects.buckets:
            self._refuse(404, "NoSuchBucket")
        elif not key:
            self._list(bucket)
        elif (stored := self.objects.get(f"{bucket}/{key}")) is None:
            self._refuse(404, "NoSuchKey")
        else:
            self._answer(200, stored.body, tag=stored.tag)

    do_HEAD = do_GET  # noqa: N815  the base class asks for this name

    def do_DELETE(self) -> None:
        self.objects.discard("/".join(self._asked()))
        self._answer(204)

    def log_message(self, *_what: object) -> None:
        """Say nothing."""

    def _asked(self) -> tuple[str, str]:
        bucket, _, key = unquote(urlsplit(self.path).path).lstrip("/").partition("/")
        return bucket, key

    def _list(self, bucket: str) -> None:
        told = {name: values[0] for name, values in parse_qs(urlsplit(self.path).query).items()}
        after, prefix = told.get("continuation-token", told.get("start-after", "")), told.get("prefix", "")
        most = min(int(told.get("max-keys", 1000)), 1000)
        found = [
            (key, stored)
            for key, stored in self.objects.listed(bucket)
            if key.startswith(prefix) and key.encode() > after.encode()
        ]
        page = found[:most]
        lines = "".join(
            f"<Contents><Key>{escape(key)}</Key><Size>{len(stored.body)}</Size><ETag>{stored.tag}</ETag>"
            "<LastModified>2020-01-01T00:00:00.000Z</LastModified></Contents>"
            for key, stored in page
        )
        more = len(found) > most
        token = f"<NextContinuationToken>{escape(page[-1][0])}</NextContinuationToken>" if more else ""
        listing = f"<Name>{bucket}</Name><KeyCount>{len(page)}</KeyCount><IsTruncated>{str(more).lower()}</IsTruncated>"
        self._answer(200, f"<ListBucketResult>{listing}{token}{lines}</ListBucketResult>".encode())

    def _refuse(self, status: int, code: str) -> None:
        self._answer(status, f"<Error><Code>{code}</Code><Message>{code}</Message></Error>".encode())

    def _answer(self, status: int, body: bytes = b"", tag: str = "") -> None:
        self.send_response(status)
        if tag:
            self.send_header("ETag", tag)
        if status != 204:
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)


def serve(port: int, fault: Fault) -> None:
    """Serve 127.0.0.1 until killed."""
    Handler.objects = Objects(fault)
    ThreadingHTTPServer.request_queue_size = 128
    ThreadingHTTPServer(("127.0.0.1", port), Handler).serve_forever()


if __name__ == "__main__":
    serve(int(sys.argv[1]), Fault(sys.argv[2]))
