"""One bucket of an S3 server: where it answers, with whose keys it is asked, and the same question put again.

Nothing below us retries: botocore's own retries would report our own write as someone else's.
"""

import os
import random
import ssl
import threading
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlsplit

import botocore.session
from botocore.config import Config
from botocore.credentials import Credentials
from botocore.exceptions import BotoCoreError, ClientError
from botocore.httpsession import get_cert_path

from relay.clock import Clock
from relay.errors import RefusedError, TransientError
from relay.model import Digest
from relay.store.refusal import code_of, is_passing, refusal
from relay.store.signing import EMPTY, Signer
from relay.store.wire import CONNECT_TIMEOUT, Answer, Body, Wire

if TYPE_CHECKING:
    from mypy_boto3_s3 import S3Client

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
        credentials: Credentials | None,
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
        self._custom_endpoint = endpoint
        self._session = _session(region, credentials)
        self._ca_bundle = str(ca_bundle or self._session.get_config_variable("ca_bundle") or "") or True
        self._client: tuple[int, S3Client] | None = None  # built when first needed: it takes 0.2 s
        self._building = threading.Lock()
        self._connect(credentials or _found_credentials(self._session, name))

    def _connect(self, credentials: Credentials) -> None:
        parts = urlsplit(self._custom_endpoint or self.client().meta.endpoint_url)
        host, self._base = _host_and_path(parts.netloc, self.bucket, path_style=self._custom_endpoint is not None)
        secure = parts.scheme == "https"
        port = parts.port or (443 if secure else 80)
        tls = ssl.create_default_context(cafile=_ca_file(self._ca_bundle)) if secure else None
        self._wire = Wire(urlsplit(f"//{host}").hostname or "", port, tls, self._silence)
        self._signer = Signer(
            credentials,
            str(self._session.get_config_variable("region")),
            host.removesuffix(f":{443 if secure else 80}"),
        )

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
    ) -> Answer:
        """Return the first answer that is not a passing trouble; `key` is whole, with the prefix, or empty.

        Raises TransientError when there is none: what was to be written may still land.
        """
        path = f"{self._base}/{quote(key, safe='/~')}" if key or not self._base else self._base

        def once() -> Answer:
            signed = self._signer.signed(method, path, headers or {}, digest, self._clock.now())
            return self._wire.exchange(method, path, signed, body, into=into, limit=limit)

        answer: Answer = self._until_answered(once, f"{self._name}: {method} {key}", _ODDS.get(method, ""))
        return answer

    def call(self, what: str, question: Callable[["S3Client"], Any]) -> Any:
        """Return what boto3 answers to `question`, for what is neither big nor frequent."""

        def once() -> Any:
            try:
                return question(self.client())
            except ClientError as error:
                return _answer_of(error)

        result = self._until_answered(once, f"{self._name}: {what}")
        if isinstance(result, Answer):
            raise refusal(result, f"{self._name}: {what}", self.now())
        return result

    def now(self) -> datetime:
        """Return this machine's time, which requests are signed with."""
        return self._clock.now()

    def client(self) -> "S3Client":
        """Return boto3's client of this process."""
        with self._building:
            if self._client is None or self._client[0] != os.getpid():
                self._client = os.getpid(), self._built_client()
            return self._client[1]

    def _built_client(self) -> "S3Client":
        import boto3  # with what it brings along a tenth of a second, and a fetch or a send never needs it

        try:
            return boto3.session.Session(botocore_session=self._session).client(
                "s3",
                endpoint_url=self._custom_endpoint,
                verify=self._ca_bundle,
                config=Config(
                    connect_timeout=CONNECT_TIMEOUT,
                    read_timeout=self._silence,
                    retries={"total_max_attempts": 1},
                    s3={"addressing_style": "path" if self._custom_endpoint else "auto"},
                    request_checksum_calculation="when_required",
                    response_checksum_validation="when_required",
                ),
            )
        except (BotoCoreError, ValueError) as error:
            raise RefusedError(f"{self._name}: {error}. Check the address and the region.") from error

    def _until_answered(self, once: Callable[[], Any], what: str, odds: str = "") -> Any:
        trouble = ""
        for _ in self._attempts():
            try:
                answer = once()
            except (OSError, BotoCoreError) as error:
                trouble = str(error) or type(error).__name__
                if _STRANGER in trouble:
                    raise RefusedError(
                        f"{what}: the server's certificate was not accepted ({trouble}). Name the file with your "
                        "authority's certificate, or check that the address is the right server's."
                    ) from error
                continue
            if not isinstance(answer, Answer) or not is_passing(answer):
                return answer
            trouble = f"{answer.status} {code_of(answer)}"
        raise TransientError(
            f"{what}: no answer in {self._tries} tries, the last of which ended with: {trouble}. {odds}"
            "Try again; is the store up, and this machine on the network?"
        )

    def _attempts(self) -> Iterator[int]:
        for count in range(self._tries):
            if count:
                longest = min(_LONGEST_WAIT, _FIRST_WAIT * 2 ** (count - 1))
                self._clock.wait(longest * (0.5 + random.random() / 2))  # noqa: S311  keeps a crowd apart, guards nothing
            yield count


def _session(region: str | None, credentials: Credentials | None) -> botocore.session.Session:
    session = botocore.session.Session()
    session.set_config_variable("ignore_configured_endpoint_urls", True)  # the address alone says where
    if region or not session.get_config_variable("region"):
        session.set_config_variable("region", region or "us-east-1")
    if credentials is not None:
        fixed = credentials.get_frozen_credentials()
        session.set_credentials(str(fixed.access_key), str(fixed.secret_key), fixed.token)
    return session


def _found_credentials(session: botocore.session.Session, name: str) -> Credentials:
    try:
        found = session.get_credentials()
    except BotoCoreError as error:
        raise RefusedError(f"{name}: the keys that are set up do not work: {error}. Correct them.") from error
    if found is None:
        raise RefusedError(
            f"{name}: no keys were found. Give an access key and a secret key in the settings, or put them "
            "where boto3 looks for them."
        )
    return found


def _host_and_path(netloc: str, bucket: str, *, path_style: bool) -> tuple[str, str]:
    """Return the host to ask and what stands before every key; a name with dots fits no wildcard certificate."""
    if path_style or "." in bucket:
        return netloc, f"/{quote(bucket)}"
    return f"{bucket}.{netloc}", ""


def _ca_file(bundle: str | bool) -> str:
    return bundle if isinstance(bundle, str) else str(get_cert_path(bundle))


def _answer_of(error: ClientError) -> Answer:
    """Return boto3's error in the form that our own answers have."""
    told: dict[str, Any] = dict(error.response)
    meta = told.get("ResponseMetadata", {})
    said = told.get("Error", {})
    words = "".join(f"<{name}>{str(said.get(name) or '').replace('<', ' ')}</{name}>" for name in ("Code", "Message"))
    return Answer(int(meta.get("HTTPStatusCode", 400)), dict(meta.get("HTTPHeaders", {})), 0, words.encode())
