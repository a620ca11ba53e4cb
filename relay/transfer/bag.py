"""A package as a bag (BagIt 1.0, RFC 8493), for an archive that has never heard of us.

The payload is verified twice: in memory as it comes, and once more as it lies on the disk, when its SHA-512 is taken.
Percent signs in paths are written as the RFC says; a reader that leaves `%25` as it is misses such files.
"""

from collections.abc import Iterable, Mapping
from functools import partial
from hashlib import sha256, sha512
from pathlib import Path

from relay.clock import SYSTEM_CLOCK, Clock
from relay.errors import BrokenError, RefusedError
from relay.media.manifest import Manifest, PackedFile
from relay.model import digest_of
from relay.store.port import Store
from relay.transfer.budget import Budget
from relay.transfer.earlier import Supply
from relay.transfer.fetch import HANDS, Fetched, fetched_by
from relay.transfer.fetching import Fetching
from relay.transfer.hands import Piece, do_all
from relay.transfer.landing import Landing, landing
from relay.transfer.notebook import Notebook
from relay.transfer.progress import UNWATCHED, Watcher
from relay.transfer.target import resolved

_DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
NOTHING: Mapping[str, bytes] = {}
_AT_ONCE = 1024 * 1024  # bytes


def export_bag(
    manifest: Manifest,
    store: Store,
    target: Path,
    notebook: Notebook,
    info: Mapping[str, str],
    *,
    beside: Mapping[str, bytes] = NOTHING,
    tags: Mapping[str, bytes] = NOTHING,
    hands: int = HANDS,
    earlier: Mapping[Path, Manifest] | None = None,
    watcher: Watcher = UNWATCHED,
    clock: Clock = SYSTEM_CLOCK,
) -> Fetched:
    """Write the package of `manifest` as a bag at `target`, with `info` in its bag-info.txt.

    Files come from `earlier`, folders of this site with the manifests of what they hold, and else from the store.
    `beside` are more files of the payload, by path, and `tags` more files beside it, both as bytes.
    The bag appears whole or not at all; objects that are wrong or missing are listed, as by `fetch`.
    """
    target = resolved(target)
    payload, added = _in_data(manifest), _added(beside)
    whole = _in_data(Manifest.of([*manifest.files, *added])) if added else payload
    _check_info(info)
    watcher.expect(len(payload.files), payload.size())
    with landing(target, {file.path: file.size for file in payload.files}) as place:
        supply = Supply(earlier or {}, payload.objects())
        fetching = Fetching(payload, store, place, supply, notebook=notebook, watcher=watcher)
        fetching.make_ready()
        do_all(fetching.pieces(Budget()), hands)
        if not fetching.faults:
            for path, body in beside.items():
                place.add(f"data/{path}", body)
            _write_tags(place, whole, {**info, **_facts(whole, clock)}, hands, tags)
            place.publish()
    return fetched_by(fetching, target)


def _added(beside: Mapping[str, bytes]) -> list[PackedFile]:
    return [PackedFile(path, len(body), digest_of(body)) for path, body in beside.items()]


def _in_data(manifest: Manifest) -> Manifest:
    try:
        return Manifest.of(file._replace(path=f"data/{file.path}") for file in manifest.files)
    except ValueError as fault:
        raise RefusedError(f"this package does not fit into a bag: {fault}") from fault


def _check_info(info: Mapping[str, str]) -> None:
    for label, value in info.items():
        if not label.strip() or ":" in label or any(not letter.isprintable() for letter in label):
            raise RefusedError(f"{label!r} cannot stand in bag-info.txt: a label is one line without a colon.")
        if "\r" in value or not value.strip():
            raise RefusedError(f"{label!r} in bag-info.txt is {value!r}: expected lines of text.")


def _facts(payload: Manifest, clock: Clock) -> dict[str, str]:
    return {
        "Bagging-Date": clock.now().date().isoformat(),
        "Payload-Oxum": f"{payload.size()}.{len(payload.files)}",
    }


def _write_tags(
    place: Landing, payload: Manifest, info: Mapping[str, str], hands: int, more: Mapping[str, bytes]
) -> None:
    longer = _sha512s(place, payload, hands)
    tags = {
        **more,
        "bagit.txt": _DECLARATION,
        "bag-info.txt": "".join(f"{label}: {_folded(value)}\n" for label, value in info.items()).encode(),
        "manifest-sha256.txt": _lines((file.digest, file.path) for file in payload.files),
        "manifest-sha512.txt": _lines((longer[file.path], file.path) for file in payload.files),
    }
    tags["tagmanifest-sha256.txt"], tags["tagmanifest-sha512.txt"] = (
        _lines((digest(body).hexdigest(), path) for path, body in sorted(tags.items())) for digest in (sha256, sha512)
    )
    for path, body in tags.items():
        place.add(path, body)


def _folded(value: str) -> str:
    return "\n  ".join(line.strip() for line in value.splitlines() if line.strip())


def _lines(pairs: Iterable[tuple[str, str]]) -> bytes:
    return "".join(f"{digest}  {_encoded(path)}\n" for digest, path in pairs).encode()


def _encoded(path: str) -> str:
    return path.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _sha512s(place: Landing, payload: Manifest, hands: int) -> dict[str, str]:
    """Return the SHA-512 of every file as it lies on the disk, after looking at its SHA-256 there."""
    found: dict[str, str] = {}

    def hash_again(path: str, expected: str) -> None:
        shorter, longer, offset = sha256(), sha512(), 0
        buffer = memoryview(bytearray(_AT_ONCE))
        while count := place.read(path, offset, buffer):
            shorter.update(buffer[:count])
            longer.update(buffer[:count])
            offset += count
        if shorter.hexdigest() != expected:
            raise BrokenError(
                f"{path}: found SHA-256 {shorter.hexdigest()} on the disk, expected {expected}. The disk did not "
                "keep what was written, or else the chunks of this file do not make the file that its manifest says."
            )
        found[path] = longer.hexdigest()

    pieces: Iterable[Piece] = (partial(hash_again, file.path, file.digest) for file in payload.files)
    do_all(iter(pieces), hands)
    return found
