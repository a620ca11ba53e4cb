"""Gathers what accounts are made of, and writes them: pages, PDFs, PREMIS events, the programme's provenance."""

from collections.abc import Iterable, Sequence
from importlib.util import find_spec
from pathlib import Path

from relay.errors import BrokenError, MissingError, RefusedError, RelayError
from relay.ledger.entry import Entry, read_entry
from relay.ledger.state import State, Version
from relay.media.sequence import frames_in
from relay.media.treatment import Treatment
from relay.model import Digest, FrameRange, Place, VersionName, every_frame, ranges_of, reel_of
from relay.programme.account import Account, Accounts
from relay.programme.account_page import page
from relay.programme.account_pdf import pdf
from relay.programme.account_words import Block, account_blocks, as_of, provenance_blocks
from relay.programme.cutlist import CutList
from relay.programme.lineage import Known
from relay.programme.premis import premis
from relay.store.folder import in_our_words
from relay.transfer.cut_lists import parsed
from relay.transfer.desk import Desk
from relay.transfer.looked import read_object, read_report
from relay.transfer.treatments import treatment_of, undocumented
from relay.wording import in_words


def entries_of(desk: Desk) -> list[Entry]:
    """Return every entry that was read."""
    return [read_entry(raw, slot) for slot, raw in enumerate(desk.ledger.entries())]


def stored_cut(desk: Desk, state: State) -> CutList | None:
    """Return the cut list that a returned version was last held against; None where none was. Raises BrokenError."""
    checks = [check for version in state.versions.values() for check in version.conforms]
    if not checks:
        return None
    newest = max(checks, key=lambda check: check.entry)
    try:
        return parsed(read_object(desk, newest.cut_list), state).cut_list
    except ValueError as fault:
        raise BrokenError(
            f"the cut list of entry {newest.entry} cannot be read: {fault}. Name one with --cut-list"
        ) from fault


def gathered(desk: Desk, state: State, versions: Iterable[Version]) -> dict[VersionName, Known]:
    """Read what the store holds about `versions` beside the ledger; of retired ones, too, their manifests stay."""
    return {version.name: _known(desk, state, version) for version in versions}


def _known(desk: Desk, state: State, version: Version) -> Known:
    record = _record(desk, version)
    return Known(
        frames=frames_in(desk.manifests.read(version.manifest), version.scan_map),
        steps=record.step if record else (),
        undocumented=undocumented(desk.manifests, state, version, record),
    )


def _record(desk: Desk, version: Version) -> Treatment | None:
    try:
        return treatment_of(desk.store, desk.manifests, version)
    except MissingError:
        if version.retired is None:
            raise
        return None  # it was retired before records were kept


def findings_on(desk: Desk, versions: Iterable[Version], place: Place) -> list[dict[str, str]]:
    """Return what the newest inspection of each version found on `place`'s frames, or on all of a reel."""
    found = []
    for version in versions:
        if not version.inspections or version.retired is not None:
            continue
        for each in read_report(desk, version.inspections[-1]).findings:
            frames = _on_reel(version, each.frames)
            here = Place(about=reel_of(version.name), frames=frames[:100])
            if place.touches(here):
                said = {"kind": each.kind.value, "grade": each.grade.value, "what": each.what}
                found.append({"version": version.name, "frames": in_words(frames) if frames else "all of it", **said})
    return found


def _on_reel(version: Version, numbers: Iterable[FrameRange]) -> tuple[FrameRange, ...]:
    scan = version.scan_map
    placed = (scan.reel_frame(number) for number in every_frame(numbers)) if scan else ()
    return ranges_of({frame for frame in placed if frame is not None})


def check_pdf() -> None:
    """Raise RefusedError where the library that writes PDF is not installed."""
    if find_spec("reportlab") is None:
        raise RefusedError(
            "accounts cannot be written: reportlab not found here. Install it with "
            "pip install 'relay-handoff[programme]', then run this again"
        )


def account_files(desk: Desk, state: State, told: Accounts, chosen: Sequence[Account]) -> dict[str, bytes]:
    """Return the files of the accounts `chosen` and, where a cut list was given, of the programme's provenance."""
    check_pdf()
    entries, written = entries_of(desk), dict[str, bytes]()
    for account in chosen:
        stem = f"account-{_file_name(account.holder)}"
        title = f"{account.title}: {account.holder}"
        head, *rest = account_blocks(account)
        written |= _documents(desk, stem, title, [head, as_of(entries[-1]), *rest])
        written[f"{stem}.premis.xml"] = premis(state, entries, account)
    if told.shares:
        title = state.film().title
        head, *rest = provenance_blocks(title, told.runs, told.shares)
        written |= _documents(desk, "provenance", title, [head, as_of(entries[-1]), *rest])
    return written


def write_files(target: Path, files: dict[str, bytes]) -> None:
    """Write `files` into the new folder `target`. Raises RefusedError where it exists."""
    with in_our_words(str(target), "write it"):
        try:
            target.mkdir(parents=True)
        except FileExistsError as error:
            raise RefusedError(f"{target} exists: name a new folder") from error
        for name, body in files.items():
            (target / name).write_bytes(body)


def _documents(desk: Desk, stem: str, title: str, blocks: list[Block]) -> dict[str, bytes]:
    def read(digest: Digest) -> bytes | None:
        try:
            return read_object(desk, digest)
        except RelayError:
            return None  # the page says that it is not there

    return {f"{stem}.html": page(title, blocks, read).encode(), f"{stem}.pdf": pdf(title, blocks, read)}


def _file_name(holder: str) -> str:
    plain = "".join(each if each.isascii() and each.isalnum() else "-" for each in holder.casefold())
    return "-".join(part for part in plain.split("-") if part)[:60] or "archive"
