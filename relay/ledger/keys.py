"""Ed25519 keys: the pens that sign entries, and the public keys that readers check them with (RFC 8032)."""

import base64
import binascii
import os
from functools import lru_cache
from pathlib import Path
from typing import Annotated, NamedTuple, NewType, Self

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from pydantic import AfterValidator

from relay.errors import BrokenError, MissingError, RefusedError
from relay.model import Digest, digest_of

PublicKey = NewType("PublicKey", str)
"""A public key as the base64 of its DER form: the middle line of its PEM file."""

KeyId = Digest
"""The SHA-256 of a public key's DER form."""


@lru_cache(maxsize=4096)
def _load(public: PublicKey) -> Ed25519PublicKey:
    try:
        key = serialization.load_der_public_key(base64.b64decode(public, validate=True))
    except (ValueError, binascii.Error, UnsupportedAlgorithm) as error:
        raise ValueError(f"{public!r} is not a public key: expected base64 of an Ed25519 key's DER form") from error
    if not isinstance(key, Ed25519PublicKey) or _encode(key) != public:
        raise ValueError(f"{public!r} is not an Ed25519 key in its usual coding")
    return key


def _encode(key: Ed25519PublicKey) -> PublicKey:
    der = key.public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    return PublicKey(base64.b64encode(der).decode())


def parse_public(text: str) -> PublicKey:
    """Return `text` as a public key. Raises ValueError."""
    _load(PublicKey(text))
    return PublicKey(text)


PublicKeyField = Annotated[PublicKey, AfterValidator(parse_public)]


@lru_cache(maxsize=4096)
def key_id(public: PublicKey) -> KeyId:
    """Return the short name of a public key: the SHA-256 of its DER form."""
    return digest_of(base64.b64decode(public))


def is_signed(public: PublicKey, body: bytes, signature: bytes) -> bool:
    """Answer whether `signature` is `public`'s signature over `body`."""
    try:
        _load(public).verify(signature, body)
    except InvalidSignature:
        return False
    return True


class Pen(NamedTuple):
    """Who signs, and with what. Never printed."""

    name: str
    private: Ed25519PrivateKey

    def __repr__(self) -> str:
        return f"Pen({self.name!r})"

    @classmethod
    def fresh(cls, name: str) -> Self:
        """Return a pen with a new key."""
        return cls(name, Ed25519PrivateKey.generate())

    @classmethod
    def from_seed(cls, name: str, seed: str) -> Self:
        """Return the pen whose private key is `seed`, 32 bytes in base64. Raises ValueError."""
        try:
            return cls(name, Ed25519PrivateKey.from_private_bytes(base64.b64decode(seed, validate=True)))
        except (ValueError, binascii.Error) as error:
            raise ValueError("not a private key: expected 32 bytes in base64") from error

    @property
    def public(self) -> PublicKey:
        return _encode(self.private.public_key())

    def seed(self) -> str:
        """Return the private key as 32 bytes in base64."""
        return base64.b64encode(self.private.private_bytes_raw()).decode()

    def sign(self, body: bytes) -> bytes:
        return self.private.sign(body)

    def save(self, path: Path) -> None:
        """Write the private key as PEM, readable by its owner only. Raises RefusedError where a file is already."""
        pem = self.private.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        try:
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError as error:
            raise RefusedError(f"{path} is there already: a key is never written over; move it away first") from error
        except OSError as error:
            raise _unwritten(path, error) from error
        try:
            with os.fdopen(descriptor, "wb") as file:
                file.write(pem)
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            path.unlink(missing_ok=True)  # half a key is none, and would be in the way of the next try
            raise _unwritten(path, error) from error


def _unwritten(path: Path, error: OSError) -> RefusedError:
    return RefusedError(
        f"the key {path} cannot be written ({error.strerror}): make room, or get the right to write there"
    )


def load_pen(name: str, path: Path) -> Pen:
    """Return the pen whose key lies at `path`. Raises MissingError, RefusedError, BrokenError."""
    try:
        pem = path.read_bytes()
    except FileNotFoundError as error:
        raise MissingError(f"there is no key at {path}: join the production first, or name the right home") from error
    except OSError as error:
        raise RefusedError(f"the key {path} cannot be read: {error.strerror}") from error
    try:
        key = serialization.load_pem_private_key(pem, password=None)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise BrokenError(
            f"{path} is not a private key in PEM form: fetch it from its backup, or replace it"
        ) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise BrokenError(f"{path} is not an Ed25519 key: this is not a key that Relay wrote")
    return Pen(name, key)
