"""How people write where a store is: a folder, or a prefix in a bucket. An address carries no secret."""

import re
from pathlib import Path
from typing import NamedTuple
from urllib.parse import SplitResult, parse_qs, unquote, urlsplit

_BUCKET = re.compile(r"[a-z0-9][a-z0-9.-]{1,61}[a-z0-9]")
FORMS = "a folder, file:///PATH, or s3://BUCKET/PREFIX?endpoint=URL&region=NAME"


class DirectoryAddress(NamedTuple):
    """A store in a folder."""

    root: Path


class S3Address(NamedTuple):
    """A store under a prefix of a bucket; no endpoint means the bucket's usual one."""

    bucket: str
    prefix: str
    endpoint: str | None
    region: str | None


Address = DirectoryAddress | S3Address


def parse_address(text: str) -> Address:
    """Return the address that `text` writes. Raises ValueError."""
    if not text.strip():
        raise ValueError(f"an empty address names no store: expected {FORMS}")
    parts = urlsplit(text)
    if "://" not in text:
        return DirectoryAddress(Path(text).expanduser().absolute())
    if parts.username or parts.password:
        raise ValueError("an address carries no names or passwords: put them where boto3 looks for them")
    match parts.scheme:
        case "file" if parts.path.startswith("/") and not (parts.netloc or parts.query or parts.fragment):
            return DirectoryAddress(Path(unquote(parts.path)))
        case "s3" if _BUCKET.fullmatch(parts.netloc) and not parts.fragment:
            return _in_a_bucket(parts.netloc, unquote(parts.path).strip("/"), parts.query)
        case _:
            raise ValueError(f"{text!r} names no store: expected {FORMS}")


def _in_a_bucket(bucket: str, prefix: str, query: str) -> S3Address:
    words = parse_qs(query, keep_blank_values=True)
    for name, values in words.items():
        if name not in {"endpoint", "region"} or len(values) != 1 or not values[0]:
            # The value is not repeated: it may be a secret that someone hoped would be taken here.
            raise ValueError(f"s3://{bucket}/{prefix} gives {name!r} in a way that means nothing: expected {FORMS}")
    endpoint = words.get("endpoint", [None])[0]
    if endpoint is not None:
        _check_endpoint(endpoint)
    return S3Address(bucket, prefix, endpoint, words.get("region", [None])[0])


def _check_endpoint(endpoint: str) -> None:
    parts = urlsplit(endpoint)
    if parts.username or parts.password:
        raise ValueError("an endpoint carries no names or passwords: put them where boto3 looks for them")
    if parts.scheme not in {"http", "https"} or not _has_host_and_port(parts) or parts.path.strip("/") or parts.query:
        raise ValueError(f"the endpoint {endpoint!r} is no address: expected https://HOST or http://HOST:PORT")


def _has_host_and_port(parts: SplitResult) -> bool:
    try:
        return bool(parts.hostname) and parts.port != 0
    except ValueError:
        return False
