"""A store in a bucket of an S3 server: conditional PUTs, each signed with the digest that the object is named by.

One or the other server checks the signed digest, or the checksum header, on arrival; we send both.
"""

from base64 import b64encode
from collections.abc import Callable, Iterator
from datetime import datetime
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any, Literal

from relay.clock import SYSTEM_CLOCK, Clock
from relay.errors import BrokenError, MissingError, RefusedError
from relay.model import Digest, digest_of
from relay.store.bucket import TRIES, Bucket
from relay.store.keys import ENTRY_PREFIX, check_alive, check_key, is_key
from relay.store.port import OBJECT_LIMIT, Listed
from relay.store.refusal import code_of, refusal, time_of
from relay.store.signing import EMPTY, Keys
from relay.store.wire import SILENCE_TIMEOUT, Answer, Body

PAGE = 1000
"""Keys; the most that one answer of S3 lists."""
_DONE = {200, 201, 204}


class S3Store:
    """Objects under `prefix` in `bucket`; without `keys`, asked with those that botocore finds and renews."""

    def __init__(
        self,
        bucket: str,
        prefix: str = "",
        *,
        endpoint: str | None = None,
        region: str | None = None,
        keys: Keys | None = None,
        ca_bundle: Path | None = None,
        clock: Clock = SYSTEM_CLOCK,
        tries: int = TRIES,
        silence: float = SILENCE_TIMEOUT,
        page: int = PAGE,
    ) -> None:
        """`page`: as many keys are asked for in one answer."""
        self._prefix = f"{prefix.strip('/')}/" if prefix.strip("/") else ""
        self.name = f"s3://{bucket}/{self._prefix}".rstrip("/") + (f" at {endpoint}" if endpoint else "")
        self._bucket = Bucket(
            bucket,
            self.name,
            endpoint=endpoint,
            region=region,
            keys=keys,
            ca_bundle=ca_bundle,
            clock=clock,
            tries=tries,
            silence=silence,
        )
        self._has_answered = False
        self._keys = page

    def create(self, key: str, body: Body, digest: Digest) -> bool:
        return self._created(key, body, digest, None)

    def create_carried(self, key: str, body: Body, digest: Digest, carried: Callable[[int], None]) -> bool:
        return self._created(key, body, digest, carried)

    def read(self, key: str, limit: int = OBJECT_LIMIT) -> bytes:
        return self._got(key, limit).body

    def read_into(self, key: str, buffer: memoryview) -> int:
        view = buffer.cast("B")
        return self._got(key, len(view), view).size

    def size(self, key: str) -> int | None:
        check_key(key)
        answer = self._bucket.ask("HEAD", self._prefix + key)
        if answer.status == 200 and "content-length" in answer.headers:
            self._has_answered = True
            return answer.size
        if answer.status == 404 and self._has_answered:
            return None
        return self._size_in_words(key)

    def list(self, prefix: str, after: str = "") -> Iterator[Listed]:
        while True:
            page = self._page(prefix, after)
            for line in page.get("Contents", []):
                key = line["Key"].removeprefix(self._prefix)
                if key <= after:
                    raise BrokenError(
                        f"{self.name}: the store lists {key!r} after {after!r}, where the order of their bytes was "
                        "expected, and what comes later might be missing. Names that mix `a/` and `a-` upset some "
                        "servers: remove what does not belong here, or use another server."
                    )
                after = key
                if is_key(key):
                    yield Listed(key, line["Size"])
            if not page.get("IsTruncated"):
                return

    def replace(self, key: str, body: Body, digest: Digest, bad: Digest) -> bool:
        found = self._get(key, OBJECT_LIMIT)
        if code_of(found) == "NoSuchKey":
            return False
        self._check_read(found, key, OBJECT_LIMIT)
        if digest_of(found.body) != bad:
            return False
        tag = found.headers.get("etag", "")
        # Ceph compares with the bare tag, others with the quoted one as RFC 9110 writes it; each try is conditional.
        for condition in (tag, tag.strip('"')):
            answer = self._put(key, body, digest, {"if-match": condition})
            if answer.status == 404:
                return False
            if answer.status != 412:
                self._check(answer, "replace", key)
                return True
        # A 412 can be the echo of our own write, whose first answer was lost.
        return digest_of(self.read(key)) == digest

    def discard(self, key: str) -> None:
        check_key(key)
        if key.startswith(ENTRY_PREFIX):
            raise RefusedError(f"{self.name}: {key} is an entry of the ledger, and those are never removed.")
        answer = self._bucket.ask("DELETE", self._prefix + key)
        if answer.status != 404:
            self._check(answer, "remove", key)

    def beat(self, key: str) -> None:
        check_alive(key)
        self._check(self._put(key, b"", digest_of(b""), {}), "give a sign at", key)

    def age(self, key: str) -> float | None:
        check_key(key)
        answer = self._bucket.ask("HEAD", self._prefix + key)
        if answer.status != 200:
            return None if self._size_in_words(key) is None else 0.0
        now, given = time_of(answer), answer.headers.get("last-modified")
        if now is None or given is None:
            raise RefusedError(f"{self.name}: the server does not say when {key} was written. Use another one.")
        return max(0.0, (now - parsedate_to_datetime(given)).total_seconds())

    def now(self) -> datetime:
        answer = self._bucket.ask("HEAD", "")
        found = time_of(answer)
        if found is None:
            raise RefusedError(
                f"{self.name}: the server does not tell the time, expected a Date header. Use another one."
            )
        return found

    def versioning(self) -> Literal["on", "off", "unknown"]:
        """Return whether the bucket keeps what is overwritten or deleted, as far as we may know."""
        try:
            told = self._bucket.call(
                "versioning", lambda client: client.get_bucket_versioning(Bucket=self._bucket.bucket)
            )
        except (RefusedError, MissingError):
            return "unknown"
        return "on" if told.get("Status") == "Enabled" else "off"

    def _created(self, key: str, body: Body, digest: Digest, carried: Callable[[int], None] | None) -> bool:
        answer = self._put(key, body, digest, {"if-none-match": "*"}, carried)
        if answer.status == 412:
            return False
        self._check(answer, "create", key)
        return True

    def _put(
        self,
        key: str,
        body: Body,
        digest: Digest,
        condition: dict[str, str],
        carried: Callable[[int], None] | None = None,
    ) -> Answer:
        check_key(key)
        if (digest == EMPTY) != (memoryview(body).nbytes == 0):
            # Ceph compares no digest where no bytes arrive.
            raise BrokenError(f"{self.name}: the bytes for {key} are not the ones that were hashed: read them again.")
        checksum = b64encode(bytes.fromhex(digest)).decode()
        headers = {**condition, "x-amz-checksum-sha256": checksum}
        return self._bucket.ask("PUT", self._prefix + key, body=body, digest=digest, headers=headers, carried=carried)

    def _get(self, key: str, limit: int, into: memoryview | None = None) -> Answer:
        check_key(key)
        return self._bucket.ask("GET", self._prefix + key, into=into, limit=limit)

    def _got(self, key: str, limit: int, into: memoryview | None = None) -> Answer:
        answer = self._get(key, limit, into)
        self._check_read(answer, key, limit)
        return answer

    def _page(self, prefix: str, after: str) -> Any:
        asked: dict[str, Any] = {"Bucket": self._bucket.bucket, "Prefix": self._prefix + prefix, "MaxKeys": self._keys}
        if after:
            asked["StartAfter"] = self._prefix + after
        page = self._bucket.call(f"list {prefix}", lambda client: client.list_objects_v2(**asked))
        if page.get("IsTruncated") and not page.get("Contents"):
            raise BrokenError(f"{self.name}: the store says there is more after {after!r}, and shows nothing of it.")
        return page

    def _size_in_words(self, key: str) -> int | None:
        """Ask again in a way that says why: the answer to a HEAD has no words."""
        answer = self._get(key, 0)
        if code_of(answer) == "NoSuchKey":
            self._has_answered = True
            return None
        self._check(answer, "look at", key)
        return answer.size

    def _check_read(self, answer: Answer, key: str, limit: int) -> None:
        self._check(answer, "read", key)
        if answer.size > limit:
            raise BrokenError(
                f"{self.name}: {key} holds {answer.size} bytes, where at most {limit} were expected. "
                "It is not what its name says: have it looked at."
            )

    def _check(self, answer: Answer, doing: str, key: str) -> None:
        if answer.status not in _DONE:
            raise refusal(answer, f"{self.name}: {doing} {key}", self._bucket.now())
        self._has_answered = True
