"""The one export with which a production ends: a bag that an archive can check for decades without this program.

It holds the final reels, every version's manifest, the ledger with its keys, reports, accounts, and a page that says
how to verify it all with `sha256sum` and `openssl`. Then one entry says that it was made, and only after that may
versions be retired (`relay.transfer.retiring`).
"""

from collections.abc import Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

from relay.errors import BrokenError, RefusedError
from relay.ledger.decision_words import ProductionClosed
from relay.ledger.entry import Entry
from relay.ledger.job_state import Standing
from relay.ledger.state import State, Version
from relay.media.manifest import Manifest, PackedFile
from relay.model import Digest, VersionName, digest_of
from relay.store.folder import in_our_words
from relay.transfer.bag import export_bag
from relay.transfer.desk import Desk
from relay.transfer.handover import check_held
from relay.transfer.looked import read_object
from relay.transfer.progress import UNWATCHED, Watcher

PAGE = "HOW-TO-VERIFY.txt"
TAGS = "tagmanifest-sha256.txt"
_PEM = "-----BEGIN PUBLIC KEY-----\n{}\n-----END PUBLIC KEY-----\n"


class Closed(NamedTuple):
    """An export that was written and said."""

    finals: tuple[VersionName, ...]
    files: int
    size: int
    """Bytes."""
    export: Digest
    entry: int


def final_versions(state: State) -> tuple[VersionName, ...]:
    """Return what was accepted at the stages after which none comes. Raises RefusedError where that is nothing."""
    film = state.film()
    before = {name for stage in film.route for name in stage.after}
    last = {stage.name for stage in film.route} - before
    jobs = [job for job in state.jobs.values() if job.stage in last and job.standing is Standing.ACCEPTED]
    found = tuple(dict.fromkeys(job.outcome for job in jobs if job.outcome))
    if not found:
        raise RefusedError(
            "nothing was accepted at the last stage of the route: name the final versions, such as P/R01/v4"
        )
    return found


def close(
    desk: Desk,
    target: Path,
    finals: Sequence[VersionName],
    reports: Mapping[str, bytes],
    watcher: Watcher = UNWATCHED,
) -> Closed:
    """Write the export at `target` and say so in the ledger. `reports` are files for its reports/ folder, by name.

    Raises RefusedError where this site is not the coordinator or a version cannot be among the finals, and BrokenError
    where an object is bad: nothing is said then.
    """
    state = desk.ledger.follow()
    desk.check_may_sign(state)
    if desk.site != state.film().coordinator:
        raise RefusedError(f"{desk.site} may not close the production: {state.film().coordinator} coordinates it")
    versions = [state.versions[name] for name in finals]
    for version in versions:
        check_held(version)
    payload = _payload(desk, state, versions)
    beside = _beside(desk, state) | {f"reports/{name}": body for name, body in reports.items()}
    page = files("relay.transfer").joinpath("verifying.txt").read_bytes()
    exported = export_bag(
        payload, desk.store, target, desk.notebook, _info(state), beside=beside, tags={PAGE: page}, watcher=watcher
    )
    if not exported.whole:
        raise BrokenError(
            f"the production cannot be exported: {exported.faults[0]}, and {len(exported.faults) - 1} more. Nothing "
            "was said. Fetch that version, so that a receipt tells who can mend it"
        )
    named = digest_of((target / TAGS).read_bytes())
    size = payload.size() + sum(map(len, beside.values()))
    entry = _say(
        desk, ProductionClosed(export=named, finals=tuple(finals), files=len(payload.files) + len(beside), size=size)
    )
    closing = target.with_name(f"{target.name}.closing")
    with in_our_words(str(closing), "write it"):
        closing.write_bytes(entry.raw)
    return Closed(tuple(finals), len(payload.files) + len(beside), size, named, entry.sequence)


def _say(desk: Desk, word: ProductionClosed) -> Entry:
    return desk.ledger.insist(desk.pen, lambda _state, _now: [word])


def folder_of(version: VersionName) -> str:
    """Return what a version's folder in the export is called."""
    return version.replace("/", "_")


def _payload(desk: Desk, state: State, finals: Sequence[Version]) -> Manifest:
    """Return what comes out of the store: reels, stills and papers, what inspections left."""
    found: dict[str, PackedFile] = {}
    for version in finals:
        for file in desk.manifests.read(version.manifest).files:
            path = f"reels/{folder_of(version.name)}/{file.path}"
            found[path] = file._replace(path=path)
    for kept in state.material:
        path = f"material/{kept.object[:12]}-{kept.name}"
        found[path] = PackedFile(path, kept.size, kept.object)
    try:
        return Manifest.of(found.values())
    except ValueError as fault:
        raise RefusedError(f"the export cannot be laid out: {fault}. Rename that, then send it again") from fault


def _beside(desk: Desk, state: State) -> dict[str, bytes]:
    """Return what is written from memory: ledger, keys, manifests, and the reports of inspections."""
    entries = {f"ledger/{slot:010d}": raw for slot, raw in enumerate(desk.ledger.entries())}
    keys = {f"keys/{key}.pem": _PEM.format(signer.public).encode() for key, signer in state.roster.items()}
    manifests = {
        f"manifests/{folder_of(version.name)}.txt": desk.manifests.read(version.manifest).encode()
        for version in state.versions.values()
    }
    looks = {
        f"reports/{folder_of(version.name)}-inspection-{look.entry}{kind}": read_object(desk, digest)
        for version in state.versions.values()
        if version.retired is None
        for look in version.inspections
        for kind, digest in ((".json", look.report), (".png", look.sheet))
        if digest
    }
    return entries | keys | manifests | looks


def _info(state: State) -> dict[str, str]:
    film = state.film()
    return {
        "Source-Organization": film.title,
        "External-Identifier": f"{film.name}, closed after entry {state.sequence}",
        "External-Description": f"The final reels of {film.title}, with its ledger. {PAGE} says how to verify it.",
    }
