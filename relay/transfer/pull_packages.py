"""A pull as a version: its cut list and just the frames that it needs, so that a job can take it as its input.

Its files are objects that the bucket holds already, under the versions that they were taken from: nothing but the list
and the manifest is sent, and whoever receives it fetches these frames and no others.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from relay.errors import BrokenError, LostRaceError
from relay.ledger import work
from relay.ledger.job_state import Job
from relay.ledger.state import State
from relay.ledger.words import VersionMade, Word
from relay.media.manifest import Chunk, Manifest, PackedFile
from relay.model import ReelName, VersionName, digest_of, reel_of, version_name
from relay.programme.cutlist import CutList
from relay.programme.own_form import own_form
from relay.store.keys import object_key
from relay.transfer.desk import Desk
from relay.transfer.hands import Piece, do_all
from relay.transfer.pulling import Pulled, folder_of
from relay.transfer.sender import Sender

LIST_NAME = "cut-list.toml"
"""In the package: in our own form, which says rates and speeds exactly and the reels' own names."""


@dataclass(frozen=True)
class PullAsked:
    """Work that is wanted on a pull."""

    stage: str
    reel: ReelName
    """Of the programme that the list makes."""
    cut_list: CutList
    found: Sequence[Pulled]
    reason: str
    prefers: str | None = None


def ask_with_pull(desk: Desk, asked: PullAsked) -> Job:
    """Make the pull a version and open the job that takes it, in one entry; said once. Follow the ledger first.

    Raises BrokenError where the store lacks a frame that a version is said to hold.
    """
    body = own_form(asked.cut_list).encode()
    written = PackedFile(LIST_NAME, len(body), digest_of(body))
    manifest = Manifest.of([written, *_files(asked.found)])
    do_all(_looks(desk, asked.found), desk.hands)
    sender = Sender(desk.store, desk.notebook, frozenset())
    sender.put(written.digest, memoryview(bytearray(body)), f"the cut list of {asked.reel}")
    sender.put(manifest.digest(), memoryview(bytearray(manifest.encode())), f"the manifest of {asked.reel}'s pull")
    desk.ledger.append(desk.pen, lambda state, _now: _words(state, asked, manifest))
    desk.manifests.keep(manifest)
    job = _asked_already(desk.ledger.state, asked, manifest)
    if job is None:
        raise LostRaceError(f"what was asked for on {asked.reel} was handed in meanwhile: look at `relay jobs`")
    return job


def _words(state: State, asked: PullAsked, manifest: Manifest) -> list[Word] | None:
    if _asked_already(state, asked, manifest):
        return None
    name = version_name(asked.reel, state.newest.get(asked.reel, 0) + 1)
    made = VersionMade(
        version=name,
        manifest=manifest.digest(),
        files=len(manifest.files),
        size=manifest.size(),
        parents=tuple(each.version for each in asked.found),
        note=asked.reason,
    )
    return [made, work.further_pass(state, asked.stage, asked.reel, (name,), asked.prefers, asked.reason)]


def _asked_already(state: State, asked: PullAsked, manifest: Manifest) -> Job | None:
    same: list[VersionName] = [each.name for each in state.of_reel(asked.reel) if each.manifest == manifest.digest()]
    jobs = (work.asked_for(state, asked.stage, asked.reel, ((name,), (), asked.reason)) for name in same)
    return next((job for job in jobs if job), None)


def _files(found: Iterable[Pulled]) -> Iterator[PackedFile]:
    """Yield the files, each version's in a folder of its name, as `relay cut fetch` lays them out."""
    for each in found:
        folder = folder_of(each.version)
        yield from (file._replace(path=f"{folder}/{file.path}") for file in each.manifest.files)


def _looks(desk: Desk, found: Iterable[Pulled]) -> Iterator[Piece]:
    for each in found:
        for item in {item for file in each.manifest.files for item in file.objects()}:
            yield partial(_check_there, desk, each, item)


def _check_there(desk: Desk, pulled: Pulled, item: Chunk) -> None:
    key = object_key(item.digest)
    size = desk.store.size(key)
    if size != item.size:
        found = "nothing" if size is None else f"{size} bytes"
        raise BrokenError(
            f"{desk.store.name}: {key} holds {found}, expected {item.size} bytes of {pulled.version}: a site that has "
            f"{reel_of(pulled.version)} can put it right with `relay mend`"
        )
