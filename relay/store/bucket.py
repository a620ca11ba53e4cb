"""One bucket of an S3 server: where it answers, with whose keys it is asked, and the same question put again.

Nothing below us retries: botocore's own retries would report our own write as someone else's.
"""

import random
import ssl
import threading
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlsplit

from relay.clock import Clock
from relay.errors import RefusedError, TransientError
from relay.model import Digest
from relay.store.refusal import code_of, is_passing, refusal
from relay.store.signing import EMPTY, Keys, Signer
from relay.store.wire import Answer, Body, Wire

if TYPE_CHECKING:
    from mypy_boto3_s3 import S3Client

    from relay.store.found import Found

TRIES = 6
_FIRST_WAIT = 0.3  # seconds, doubled after each try
_LONGEST_WAIT = 5.0  # seconds
_STRANGER = "CERTIFICATE_VERIFY_FAILED"  # OpenSSL's own name for it, which botocore quotes as well
_ODDS = {"PUT": "The outcome is unknown, it may still land: only the same bytes may be sent there now. "}


class Bucket:
    """A bucket, asked again and again within reason. Used by any number of threads, and anew after a fork."""

    def __init__(
        self,
        bucket: str,
        name: str,
        *,
        endpoint: str | None,
        region: str | None,
        keys: Keys | None,
        ca_bundle: Path | None,
        clock: Clock,
        tries: int,
        silence: float,
    ) -> None:
        self.bucket = bucket
        self._name = name
        self._clock = clock
        self._tries = tries
        self._silence = silence
        self._endpoint = endpoint
        self._lookup = region, keys, ca_bundle
        self._found_by_botocore: Found | None = None
        self._looking = threading.Lock()
        self._connect(region, keys)

    def _connect(self, region: str | None, keys: Keys | None) -> None:
        parts = urlsplit(self._endpoint or self._client().meta.endpoint_url)
        host, self._base = _host_and_path(parts.netloc, self.bucket, path_style=self._endpoint is not None)
        secure = parts.scheme == "https"
        port = parts.port or (443 if secure else 80)
        tls = ssl.create_default_context(cafile=self._found().ca_file) if secure else None
        self._wire = Wire(urlsplit(f"//{host}").hostname or "", port, tls, self._silence)
        if keys is None:
            self._found().check_keys()
        self._signer = Signer(
            (lambda: keys) if keys else self._found().keys,
            region or self._found().region,
            host.removesuffix(f":{443 if secure else 80}"),
        )

    def _found(self) -> "Found":
        with self._looking:
            if self._found_by_botocore is None:
                from relay.store.found import Found  # a fifth of a second, for what is often known already

                region, keys, ca_bundle = self._lookup
                self._found_by_botocore = Found(self._name, region, keys, ca_bundle)
            return self._found_by_botocore

    def _client(self) -> "S3Client":
        return self._found().client(self._endpoint, self._silence)

    def ask(
        self,
        method: str,
        key: str,
        *,
        body: Body = b"",
        digest: Digest = EMPTY,
        headers: Mapping[str, str] | None = None,
        into: memoryview | None = None,
        limit: int = 0,
        carried: Callable[[int], None] | None = None,
    ) -> Answer:
        """Return the first answer that is not a passing trouble; `key` is whole, with the prefix, or empty.

        Once `carried` was told anything, `body` is not looked at again, and nothing is asked again.

        Raises TransientError when there is none: what was to be written may still land.
        """
        path = f"{self._base}/{quote(key, safe='/~')}" if key or not self._base else self._base

        gone = threading.Event()

        def told(left: int) -> None:
            gone.set()
            if carried:
                carried(left)

        def once() -> Answer:
            signed = self._signer.signed(method, path, headers or {}, digest, self._clock.now())
            hear = told if carried else None
            return self._wire.exchange(method, path, signed, body, into=into, limit=limit, carried=hear)

        what = f"{self._name}: {method} {key}"
        answer: Answer = self._until_answered(once, what, _ODDS.get(method, ""), gone)
        return answer

    def call(self, what: str, question: Callable[["S3Client"], Any]) -> Any:
        """Return what boto3 answers to `question`, for what is neither big nor frequent."""
        from botocore.exceptions import BotoCoreError, ClientError

        def once() -> Any:
            try:
                return question(self._client())
            except ClientError as error:
                return _answer_of(dict(error.response))
            except BotoCoreError as error:
                raise ConnectionError(str(error)) from error

        result = self._until_answered(once, f"{self._name}: {what}")
        if isinstance(result, Answer):
            raise refusal(result, f"{self._name}: {what}", self.now())
        return result

    def now(self) -> datetime:
        """Return this machine's time, which requests are signed with."""
        return self._clock.now()

    def _until_answered(
        self, once: Callable[[], Any], what: str, odds: str = "", gone: threading.Event | None = None
    ) -> Any:
        trouble, tries = "", 0
        for count in self._attempts():
            tries = count + 1
            try:
                answer = once()
            except OSError as error:
                trouble = str(error) or type(error).__name__
                if _STRANGER in trouble:
                    raise RefusedError(
                        f"{what}: the server's certificate was not accepted ({trouble}). Name the file with your "
                        "authority's certificate, or check that the address is the right server's."
                    ) from error
            else:
                if not isinstance(answer, Answer) or not is_passing(answer):
                    return answer
                trouble = f"{answer.status} {code_of(answer)}"
            if gone and gone.is_set():
                break
        raise TransientError(
            f"{what}: no answer in {tries} tries, the last of which ended with: {trouble}. {odds}"
            "Try again; is the store up, and this machine on the network?"
        )

    def _attempts(self) -> Iterator[int]:
        for count in range(self._tries):
            if count:
                longest = min(_LONGEST_WAIT, _FIRST_WAIT * 2 ** (count - 1))
                self._clock.wait(longest * (0.5 + random.random() / 2))  # noqa: S311  keeps a crowd apart, guards nothing
            yield count


def _host_and_path(netloc: str, bucket: str, *, path_style: bool) -> tuple[str, str]:
    """Return the host to ask and what stands before every key; a name with dots fits no wildcard certificate."""
    if path_style or "." in bucket:
        return netloc, f"/{quote(bucket)}"
    return f"{bucket}.{netloc}", ""


def _answer_of(told: dict[str, Any]) -> Answer:
    """Return what boto3's error tells in the form that our own answers have."""
    meta = told.get("ResponseMetadata", {})
    said = told.get("Error", {})
    words = "".join(f"<{name}>{str(said.get(name) or '').replace('<', ' ')}</{name}>" for name in ("Code", "Message"))
    return Answer(int(meta.get("HTTPStatusCode", 400)), dict(meta.get("HTTPHeaders", {})), 0, words.encode())
