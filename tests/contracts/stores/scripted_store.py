"""A store on a scripted server, and what such servers mostly say."""

from relay.model import digest_of
from relay.store.s3 import S3Store
from relay.store.signing import Keys
from tests.contracts.stores.scripted import PatientClock, Scripted, refusal, reply

SECRET = "a-secret-that-nobody-sees"
BODY = b"as it was scanned" * 1000
DIGEST = digest_of(BODY)
OK, TAKEN = reply(200), reply(412, b"<Error><Code>PreconditionFailed</Code></Error>")
BUSY = refusal(503, "SlowDown", "Reduce your request rate")


def store_on(server: Scripted, clock: PatientClock | None = None, **how) -> S3Store:
    keys = how.pop("keys", Keys("an-access-key", SECRET))
    return S3Store("b", "p", endpoint=server.endpoint, keys=keys, clock=clock or PatientClock(), **how)
