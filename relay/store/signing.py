"""Signs a request to S3 (AWS Signature Version 4) with the SHA-256 of the body that is already known.

botocore's signer hashes every body itself and takes ten times as long over a small request; this one gives the same
signature, which tests/contracts/stores/test_stores_signing.py holds against it. It asks for the keys each time,
since they may have been renewed.
"""

import hashlib
import hmac
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from relay.model import Digest, digest_of

EMPTY = digest_of(b"")
_BARE = str.maketrans("", "", "-:")


@dataclass(frozen=True)
class Keys:
    """Whose word a request is."""

    access_key: str
    secret_key: str = field(repr=False)
    token: str | None = field(default=None, repr=False)
    """Goes with keys that run out."""


class Signer:
    """Signs for one host and region."""

    def __init__(self, keys: Callable[[], Keys], region: str, host: str) -> None:
        self._keys = keys
        self._region = region
        self._host = host
        self._day_keys: dict[tuple[str, str], bytes] = {}

    def signed(
        self, method: str, path: str, headers: Mapping[str, str], digest: Digest, at: datetime
    ) -> dict[str, str]:
        """Return all headers of the request, given a percent-encoded path and lower-case names of headers."""
        identity = self._keys()
        stamp = f"{at.isoformat()[:19].translate(_BARE)}Z"  # a tenth of what strftime takes
        full = {**headers, "host": self._host, "x-amz-content-sha256": digest, "x-amz-date": stamp}
        if identity.token:
            full["x-amz-security-token"] = identity.token
        names = sorted(full)
        signed_names = ";".join(names)
        lines = "".join(f"{name}:{full[name]}\n" for name in names)
        canonical = f"{method}\n{path}\n\n{lines}\n{signed_names}\n{digest}"
        scope = f"{stamp[:8]}/{self._region}/s3/aws4_request"
        to_sign = f"AWS4-HMAC-SHA256\n{stamp}\n{scope}\n{digest_of(canonical.encode())}"
        signature = hmac.digest(self._day_key(identity.secret_key, stamp[:8]), to_sign.encode(), "sha256").hex()
        full["authorization"] = (
            f"AWS4-HMAC-SHA256 Credential={identity.access_key}/{scope}, "
            f"SignedHeaders={signed_names}, Signature={signature}"
        )
        return full

    def _day_key(self, secret: str, day: str) -> bytes:
        known = self._day_keys.get((secret, day))
        if known is not None:
            return known
        key = f"AWS4{secret}".encode()
        for part in (day, self._region, "s3", "aws4_request"):
            key = hmac.new(key, part.encode(), hashlib.sha256).digest()
        self._day_keys = {(secret, day): key}
        return key
