"""A bucket behind TLS: whose certificates are believed, and that bodies pass whole."""

import ssl
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from relay.errors import RefusedError
from relay.model import digest_of
from tests.contracts.stores.scripted import Reply, Scripted, reply
from tests.contracts.stores.scripted_store import OK, store_on

BIG = bytes(range(256)) * 4096


@dataclass
class Papers:
    """A certificate that vouches for itself, and its key."""

    certificate: Path
    key: Path

    def server(self, script: list[Reply]) -> Scripted:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate, self.key)
        return Scripted(script, context)


def papers_for(address: x509.GeneralName, folder: Path) -> Papers:
    folder.mkdir()
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "a store of the tests")])
    today = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(today - timedelta(days=1))
        .not_valid_after(today + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([address]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    papers = Papers(folder / "certificate.pem", folder / "key.pem")
    papers.certificate.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    papers.key.write_bytes(
        key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    return papers


@pytest.fixture
def papers(tmp_path: Path) -> Iterator[Papers]:
    return papers_for(x509.IPAddress(ip_address("127.0.0.1")), tmp_path / "papers")


def test_bodies_pass_whole_both_ways(papers: Papers):
    with papers.server([OK, reply(200, BIG)]) as server:
        store = store_on(server, ca_bundle=papers.certificate)
        assert store.create("a", BIG, digest_of(BIG))
        assert store.read("a") == BIG
        buffer = bytearray(len(BIG))
        assert store.read_into("a", memoryview(buffer)) == len(BIG)
    assert server.requests[0].body == BIG
    assert buffer == BIG
    assert server.connections == 1


def test_a_kept_connection_that_was_closed_is_replaced_without_a_wait(papers: Papers):
    with papers.server([OK]) as server:
        store = store_on(server, ca_bundle=papers.certificate, tries=1)
        assert store.create("a", BIG, digest_of(BIG))
        server.hang_up_all()
        assert store.create("b", BIG, digest_of(BIG))


def test_an_authority_may_be_named_where_amazon_s_tools_look_for_it(papers: Papers, monkeypatch):
    """AWS_CA_BUNDLE: AWS SDKs and Tools reference, general settings."""
    monkeypatch.setenv("AWS_CA_BUNDLE", str(papers.certificate))
    listing = reply(200, b"<ListBucketResult><IsTruncated>false</IsTruncated></ListBucketResult>")
    with papers.server([OK, listing]) as server:
        store = store_on(server)
        assert store.create("a", b"1", digest_of(b"1"))
        assert list(store.list("")) == []


def test_a_stranger_s_certificate_is_refused_and_nothing_is_sent(papers: Papers):
    with papers.server([OK]) as server:
        store = store_on(server)
        for call in (lambda: store.create("a", b"1", digest_of(b"1")), lambda: list(store.list(""))):
            with pytest.raises(RefusedError, match="certificate was not accepted"):
                call()
    assert server.requests == []


def test_a_certificate_for_another_name_is_refused(tmp_path: Path):
    papers = papers_for(x509.DNSName("elsewhere.example"), tmp_path / "papers")
    with papers.server([OK]) as server, pytest.raises(RefusedError, match="certificate was not accepted"):
        store_on(server, ca_bundle=papers.certificate).create("a", b"1", digest_of(b"1"))
    assert server.requests == []
