"""A store in a folder, and what the tests put into it."""

from relay.model import digest_of
from relay.store.directory import DirectoryStore

GOOD, BAD = b"good" * 20_000, b"bad!" * 20_000


def put(store: DirectoryStore, key: str, body: bytes = GOOD) -> bool:
    return store.create(key, body, digest_of(body))


def parts_of(store: DirectoryStore) -> list[str]:
    return [path.name for path in (store.root / ".incoming").glob("*.part")]
