"""Digests and signatures against FIPS 180-4 and RFC 8032, as PyPI `cryptography_vectors` carries their vectors."""

import base64

import pytest
from cryptography_vectors import open_vector_file

from relay.ledger.keys import Pen, PublicKey, is_signed, key_id, parse_public
from relay.model import digest_of

# RFC 8410, section 4: what stands before the 32 bytes of an Ed25519 public key in its DER form.
DER_PREFIX = bytes.fromhex("302a300506032b6570032100")


def fips_rows(name: str) -> list[tuple[bytes, str]]:
    rows: list[tuple[bytes, str]] = []
    length = message = ""
    with open_vector_file(f"hashes/SHA2/{name}", "r") as file:
        for line in file:
            word, _, value = line.strip().partition(" = ")
            match word:
                case "Len":
                    length = value
                case "Msg":
                    message = value
                case "MD":
                    rows.append((bytes.fromhex(message)[: int(length) // 8], value))
    return rows


def rfc8032_rows() -> list[tuple[bytes, bytes, bytes, bytes]]:
    """Return (seed, public key, message, signature) of each row."""
    rows = []
    with open_vector_file("asymmetric/Ed25519/sign.input", "r") as file:
        for line in file:
            secret, public, message, signed = (bytes.fromhex(part) for part in line.strip().split(":")[:4])
            rows.append((secret[:32], public, message, signed[:64]))
    return rows


def coded(public: bytes) -> PublicKey:
    return PublicKey(base64.b64encode(DER_PREFIX + public).decode())


@pytest.mark.parametrize(("name", "count"), [("SHA256ShortMsg.rsp", 65), ("SHA256LongMsg.rsp", 64)])
def test_digests_are_those_of_fips_180_4(name: str, count: int) -> None:
    rows = fips_rows(name)
    assert len(rows) == count
    assert [digest_of(message) for message, _ in rows] == [digest for _, digest in rows]


def test_pens_sign_as_rfc_8032_says() -> None:
    rows = rfc8032_rows()
    assert len(rows) == 1024
    for seed, public, message, signature in rows:
        pen = Pen.from_seed("lisbon", base64.b64encode(seed).decode())
        assert pen.public == coded(public)
        assert pen.sign(message) == signature


def test_signatures_of_rfc_8032_are_believed_and_altered_ones_are_not() -> None:
    for _, public, message, signature in rfc8032_rows()[::4]:
        key = parse_public(coded(public))
        assert is_signed(key, message, signature)
        assert not is_signed(key, message + b"\0", signature)
        assert not is_signed(key, message, bytes([signature[0] ^ 1]) + signature[1:])
        assert not is_signed(key, message, signature[:-1])


def test_a_signature_is_not_believed_in_its_second_form() -> None:
    # RFC 8032, section 5.1.7: S must be below L, or one signature could be written in two ways.
    order = 2**252 + 27742317777372353535851937790883648493
    for _, public, message, signature in rfc8032_rows()[:64]:
        twin = (int.from_bytes(signature[32:], "little") + order).to_bytes(32, "little")
        assert not is_signed(coded(public), message, signature[:32] + twin)


def test_a_key_s_short_name_is_the_sha_256_of_its_der_form() -> None:
    for _, public, _, _ in rfc8032_rows()[:16]:
        assert key_id(coded(public)) == digest_of(DER_PREFIX + public)
