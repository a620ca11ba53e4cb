"""deploy/policies/site.json on a real SeaweedFS: a site creates and reads in its production, and no more."""

import json
from collections.abc import Iterator
from pathlib import Path

import boto3
import pytest
from botocore.config import Config
from botocore.exceptions import ClientError

from relay.errors import RefusedError
from relay.model import digest_of
from relay.store.keys import entry_key, object_key
from relay.store.s3 import S3Store
from relay.store.signing import Keys
from tests.conftest import missing
from tests.servers.s3 import ServerMissingError
from tests.servers.seaweedfs import SeaweedFS

POLICY = Path(__file__).resolve().parents[2] / "deploy" / "policies" / "site.json"
PRODUCTION, BODY = "quillmark", b"a frame"


class TwoUsers(SeaweedFS):
    """A server with a keeper, who may do all, and a site, to which only the policy gives anything."""

    def prepare(self) -> None:
        super().prepare()
        path = self.folder / "s3.json"
        users = json.loads(path.read_text())
        site = {
            "name": "halifax",
            "credentials": [{"accessKey": "site-key", "secretKey": "site-secret"}],
            "actions": [],
        }
        users["identities"].append(site)
        path.write_text(json.dumps(users))


@pytest.fixture(scope="module")
def server() -> Iterator[TwoUsers]:
    try:
        started = TwoUsers()
    except ServerMissingError as error:
        missing(str(error))
    yield started
    started.stop()


@pytest.fixture(scope="module")
def bucket(server: TwoUsers) -> str:
    name = server.bucket()
    text = POLICY.read_text(encoding="utf-8").replace("BUCKET", name).replace("PRODUCTION", PRODUCTION)
    policy = text.replace("SITE-PRINCIPAL", "arn:aws:iam::000000000000:user/halifax")
    _client(server).put_bucket_policy(Bucket=name, Policy=policy)
    return name


def _client(server: TwoUsers):  # type: ignore[no-untyped-def]
    return boto3.client(
        "s3",
        endpoint_url=server.endpoint,
        aws_access_key_id=server.access_key,
        aws_secret_access_key=server.secret_key,
        region_name="us-east-1",
        config=Config(s3={"addressing_style": "path"}, request_checksum_calculation="when_required"),
    )


def site_store(server: TwoUsers, bucket: str, production: str = PRODUCTION) -> S3Store:
    return S3Store(
        bucket,
        production,
        endpoint=server.endpoint,
        region="us-east-1",
        keys=Keys("site-key", "site-secret"),
    )


def test_a_site_creates_reads_and_lists_in_its_production(server: TwoUsers, bucket: str) -> None:
    store = site_store(server, bucket)
    digest = digest_of(BODY)
    assert store.create(object_key(digest), BODY, digest)
    assert store.create(entry_key(0), BODY, digest)
    assert not store.create(entry_key(0), b"other", digest_of(b"other"))
    assert store.read(object_key(digest)) == BODY
    assert [each.key for each in store.list("entries/")] == [entry_key(0)]
    store.beat("alive/some-claim")


def test_a_site_deletes_nothing(server: TwoUsers, bucket: str) -> None:
    store = site_store(server, bucket)
    digest = digest_of(b"stays")
    store.create(object_key(digest), b"stays", digest)
    with pytest.raises(RefusedError):
        store.discard(object_key(digest))
    assert store.read(object_key(digest)) == b"stays"


def test_a_site_reaches_no_other_production_and_no_other_prefix(server: TwoUsers, bucket: str) -> None:
    digest = digest_of(BODY)
    keeper = _client(server)
    keeper.put_object(Bucket=bucket, Key=f"another/{object_key(digest)}", Body=BODY)
    other = site_store(server, bucket, "another")
    with pytest.raises(RefusedError):
        other.read(object_key(digest))
    with pytest.raises(RefusedError):
        other.create(entry_key(0), BODY, digest)
    with pytest.raises(RefusedError):
        site_store(server, bucket).create("elsewhere/thing", BODY, digest)


def test_a_site_changes_no_policy(server: TwoUsers, bucket: str) -> None:
    site = boto3.client(
        "s3",
        endpoint_url=server.endpoint,
        aws_access_key_id="site-key",
        aws_secret_access_key="site-secret",
        region_name="us-east-1",
        config=Config(s3={"addressing_style": "path"}),
    )
    with pytest.raises(ClientError):
        site.delete_bucket_policy(Bucket=bucket)
    with pytest.raises(ClientError):
        site.delete_bucket(Bucket=bucket)


def test_forced_conditions_cover_every_place_that_is_written_once_and_no_other() -> None:
    """No server here knows the condition keys, so that the policy itself is untried; deploy/policies says so."""
    from relay.store import keys

    forced = json.loads((POLICY.parent / "force-conditions.json").read_text())["Statement"]
    places = {place.split("PRODUCTION/")[1].rstrip("*"): each for each in forced for place in each["Resource"]}
    written = {value for name, value in vars(keys).items() if name.endswith("_PREFIX")}
    assert set(places) == written - {keys.ALIVE_PREFIX, keys.PROBE_PREFIX}
    for prefix, statement in places.items():
        assert (statement["Effect"], statement["Principal"], statement["Action"]) == ("Deny", "*", ["s3:PutObject"])
        may_be_mended = prefix == keys.DIGEST_PREFIX
        wanted = {"s3:if-none-match", "s3:if-match"} if may_be_mended else {"s3:if-none-match"}
        assert statement["Condition"] == {"Null": dict.fromkeys(wanted, "true")}
