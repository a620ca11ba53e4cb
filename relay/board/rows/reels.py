"""Reels as rows: how long, how far, which version, who has the move, what to mind. Pure."""

from datetime import datetime
from typing import Literal

from relay.board.rows.acts import blocking_in_words
from relay.board.rows.moves import Move, moves_on
from relay.board.rows.strips import Strip, strip_of
from relay.board.rows.view import Frames, View
from relay.errors import MissingError
from relay.film.length import length_in_words
from relay.ledger import lateness, route
from relay.ledger.owed import findings, mended_since
from relay.ledger.state import Receipt, Version
from relay.ledger.words import Fault
from relay.model import Base, Element, Frozen, ReelName, VersionName, code_of, frame_count, reel_of
from relay.wording import bytes_in_words, count, in_words


class ReceiptRow(Frozen):
    """A site's word on how a version arrived there."""

    site: str
    entry: int
    time: datetime
    is_whole: bool
    faults_in_all: int
    faults: tuple[Fault, ...]


class CopyRow(Frozen):
    """What was last found of one copy."""

    site: str
    where: str
    outcome: str
    entry: int
    time: datetime


class LookRow(Frozen):
    """What a site found when it looked at a version's pictures and sound."""

    site: str
    entry: int
    time: datetime
    blocking: int
    warning: int
    pictures: tuple[Literal["sheet", "strip"], ...] = ()
    """Which pictures of it were stored."""


class MaterialRow(Frozen):
    """A still or a paper about the reel, its frames or its element."""

    about: str
    frames: Frames
    name: str
    object: str
    """The SHA-256 of its bytes."""
    size: str
    note: str
    by: str
    entry: int
    time: datetime


class VersionRow(Frozen):
    """One version of a reel."""

    version: VersionName
    by: str
    time: datetime
    entry: int
    files: int
    bytes: int
    size: str
    """The bytes as people say them."""
    frames: Frames
    """Empty while its manifest was not read, or where its files are not tied to the reel."""
    frames_in_all: int
    frames_in_words: str
    parents: tuple[VersionName, ...]
    note: str
    manifest: str
    receipts: tuple[ReceiptRow, ...]
    looks: tuple[LookRow, ...]
    conforms: tuple[LookRow, ...]
    """How it was found to lie to a cut list."""
    copies: tuple[CopyRow, ...]
    is_refused: bool
    came_back: str = ""
    """Why it was returned, if it was."""


class ReelRow(Frozen):
    """One reel, as the list shows it."""

    reel: ReelName
    element: str
    kind: str
    gauge: str
    base: str
    is_nitrate: bool
    holder: str
    frames: int | None
    """None where nobody counted and nothing was scanned."""
    length: str
    """Feet + frames and running time, or that nobody knows."""
    strip: Strip
    newest: VersionName | None
    sent_by: str | None
    sent_at: datetime | None
    entry: int | None
    expected: datetime | None
    """When all that is left to do on it is expected to be done; None where no forecast says so."""
    moves: tuple[Move, ...]
    state_in_words: str
    mind: tuple[str, ...]
    is_done: bool
    is_late: bool

    @property
    def haystack(self) -> str:
        """What a search looks through, in lower case."""
        sites = " ".join(move.site or "" for move in self.moves)
        stages = " ".join(f"{layer.stage} {layer.fill}" for layer in self.strip.layers)
        mind = " ".join(self.mind)
        return f"{self.reel} {self.element} {self.holder} {sites} {stages} {self.state_in_words} {mind}".casefold()


def reel_rows(view: View) -> tuple[ReelRow, ...]:
    """Return every reel, in the production's order."""
    return tuple(reel_row(view, reel) for reel in view.film.reel_names())


def reel_row(view: View, reel: ReelName) -> ReelRow:
    """Return one reel. Raises MissingError where the production has none of that name."""
    element = view.film.element_of(reel)
    if element is None or not route.has_reel(view.film, reel):
        raise MissingError(f"the production has no reel {reel}: the page Reels shows those it has")
    strip, moves = strip_of(view, reel), tuple(moves_on(view, reel))
    number = view.state.newest.get(reel)
    newest = view.state.versions[VersionName(f"{reel}/v{number}")] if number else None
    is_done = bool(strip.layers) and all(layer.fill in {"accepted", "withdrawn"} for layer in strip.layers)
    return ReelRow(
        reel=reel,
        element=element.title,
        kind=element.kind,
        gauge=element.gauge,
        base=element.base,
        is_nitrate=element.base is Base.NITRATE,
        holder=element.holder,
        frames=strip.length if strip.is_counted else None,
        length=_length(element, strip),
        strip=strip,
        newest=newest.name if newest else None,
        sent_by=newest.by if newest else None,
        sent_at=newest.time if newest else None,
        entry=newest.entry if newest else None,
        expected=view.outlook.reels.get(reel) if view.outlook else None,
        moves=moves,
        state_in_words=_in_words(moves, newest, strip, is_done=is_done),
        mind=tuple(_mind(view, reel, newest, strip)),
        is_done=is_done,
        is_late=any(move.is_late for move in moves),
    )


def _length(element: Element, strip: Strip) -> str:
    if not strip.is_counted:
        return "length not known yet"
    return f"{count(strip.length, 'frame')}, {length_in_words(element, strip.length)}"


def _in_words(moves: tuple[Move, ...], newest: Version | None, strip: Strip, *, is_done: bool) -> str:
    if moves:
        return "; ".join(move.words for move in moves)
    if is_done:
        return "done"
    if any(layer.fill in {"accepted", "handed in"} for layer in strip.layers):
        return "waits for other reels"
    return "nothing was sent yet" if newest is None else "nobody has anything to do on it now"


def _mind(view: View, reel: ReelName, newest: Version | None, strip: Strip) -> list[str]:
    told = [
        f"{job.stage} {word}"
        for job in route.jobs_on(view.state, reel)
        for word in lateness.warnings_of(view.state, job, view.now)
    ]
    if newest is not None and is_refused(view, newest):
        told.insert(0, f"{newest.name} was refused: {_refusals(newest)}")
    if newest is not None and newest.inspections and newest.inspections[-1].blocking:
        looked = newest.inspections[-1]
        told.insert(0, f"{newest.name}: {blocking_in_words(looked.blocking, f' of {looked.site}')}")
    if newest is not None and newest.conforms and newest.conforms[-1].blocking:
        held = newest.conforms[-1]
        told.insert(0, f"{newest.name}: lies otherwise than its cut list in {count(held.blocking, 'finding')}")
    if strip.gaps:
        told.append(f"lacks {count(frame_count(strip.gaps), 'frame')}: {in_words(strip.gaps, 6)}")
    return told


def _refusals(version: Version) -> str:
    newest = newest_receipts(version)
    return "; ".join(
        f"{count(receipt.faults_in_all, 'bad file')} at {receipt.site}"
        for receipt in newest.values()
        if not receipt.whole
    )


def newest_receipts(version: Version) -> dict[str, Receipt]:
    """Return each site's newest receipt."""
    return {receipt.site: receipt for receipt in version.receipts}


def is_refused(view: View, version: Version) -> bool:
    """Answer whether some site's newest receipt says that `version` is bad, and nothing of it was mended since."""
    return any(
        not receipt.whole and not mended_since(view.state, version.name, receipt.entry)
        for receipt in newest_receipts(version).values()
    )


def is_bad_in_store(view: View, version: Version) -> bool:
    """Answer whether objects of `version` were found bad in the store, and not mended since."""
    return any(faults and not mended_since(view.state, version.name, entry) for entry, faults in findings(version))


def version_rows(view: View, reel: ReelName) -> tuple[VersionRow, ...]:
    """Return the versions of `reel`, the newest first."""
    back = {each.version: each.reasons for job in view.state.jobs.values() if job.reel == reel for each in job.returns}
    return tuple(
        _version_row(view, version, back.get(version.name, "")) for version in reversed(view.state.of_reel(reel))
    )


def _version_row(view: View, version: Version, came_back: str) -> VersionRow:
    frames = view.frames.get(version.name, ())
    ours = {name for name in version.parents if route.has_reel(view.film, reel_of(name))}
    return VersionRow(
        version=version.name,
        by=version.by,
        time=version.time,
        entry=version.entry,
        files=version.files,
        bytes=version.size,
        size=bytes_in_words(version.size),
        frames=frames,
        frames_in_all=frame_count(frames),
        frames_in_words=in_words(frames) if frames else "",
        parents=tuple(name for name in version.parents if name in ours),
        note=version.note,
        manifest=version.manifest,
        receipts=tuple(_receipt_row(receipt) for receipt in version.receipts),
        looks=tuple(
            LookRow(
                site=each.site,
                entry=each.entry,
                time=each.time,
                blocking=each.blocking,
                warning=each.warning,
                pictures=(*(["sheet"] if each.sheet else []), *(["strip"] if each.strip else [])),
            )
            for each in version.inspections
        ),
        conforms=tuple(
            LookRow(site=each.site, entry=each.entry, time=each.time, blocking=each.blocking, warning=each.warning)
            for each in version.conforms
        ),
        copies=tuple(
            CopyRow(
                site=check.site,
                where="the store" if check.place == "bucket" else f"{check.place}, {check.label}",
                outcome=check.outcome,
                entry=check.entry,
                time=check.time,
            )
            for check in version.checks
        ),
        is_refused=is_refused(view, version),
        came_back=came_back,
    )


def material_rows(view: View, reel: ReelName) -> tuple[MaterialRow, ...]:
    """Return the stills and papers about `reel` or the element it is of, the newest first."""
    about = {reel, code_of(reel)}
    return tuple(
        MaterialRow(
            about=each.about,
            frames=each.frames,
            name=each.name,
            object=each.object,
            size=bytes_in_words(each.size),
            note=each.note,
            by=each.by,
            entry=each.entry,
            time=each.time,
        )
        for each in reversed(view.state.material)
        if each.about in about
    )


def _receipt_row(receipt: Receipt) -> ReceiptRow:
    return ReceiptRow(
        site=receipt.site,
        entry=receipt.entry,
        time=receipt.time,
        is_whole=receipt.whole,
        faults_in_all=receipt.faults_in_all,
        faults=receipt.faults,
    )
