"""What all pages of one board stand on: what is known, who may look, who speaks; and rows, reckoned once a minute."""

import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TypeVar, cast

from relay.board.acting import Actors
from relay.board.guard import Tries
from relay.board.kept import Kept
from relay.board.people import People
from relay.board.rows.foreseen import Foreseen
from relay.board.rows.jobs import JobRow, job_rows
from relay.board.rows.ledger import LedgerLine, ledger_lines
from relay.board.rows.now import Now, now_of
from relay.board.rows.reels import MaterialRow, ReelRow, VersionRow, material_rows, reel_row, reel_rows, version_rows
from relay.board.rows.sites import SiteRow, site_rows
from relay.board.rows.view import View, Viewer, seen_by
from relay.board.seer import Foresight
from relay.board.shelf import Shelf
from relay.board.supposing import Supposing
from relay.board.watch import Picture, Watch
from relay.clock import Clock
from relay.errors import MissingError, RefusedError
from relay.media.compare import Changes, Scanned, compare
from relay.media.findings import Report
from relay.model import ReelName, ScanMap, VersionName
from relay.programme.coverage import Covered
from relay.transfer.covering import aligned_elements, reels_along
from relay.transfer.looked import newest_look
from relay.transfer.seat import Seat

Rows = TypeVar("Rows")


class OneTime:
    """A secret that opens the door once: what stands in the address that is printed where the board starts."""

    def __init__(self, secret: str | None) -> None:
        self._secret = secret
        self._lock = threading.Lock()

    def is_used_up_by(self, secret: str) -> bool:
        """Answer whether `secret` is it; from then on nothing is."""
        with self._lock:
            if self._secret is None or not secrets.compare_digest(secret.encode(), self._secret.encode()):
                return False
            self._secret = None
            return True


def _sight(viewer: Viewer) -> tuple[bool, str | None]:
    """Return what tells whoever sees otherwise apart: guests see one archive's elements, everybody else sees all."""
    return (True, viewer.holder) if viewer.role == "guest" else (False, None)


@dataclass(frozen=True)
class Board:
    """One board."""

    seat: Seat
    """The site in whose home it runs."""
    watch: Watch
    actors: Actors
    people: People
    tries: Tries
    clock: Clock
    folder: Path
    """Where the board keeps what is its own: who may look, and its secret."""
    once: OneTime
    supposing: Supposing
    shelf: Shelf
    _rows: Kept = field(default_factory=Kept)

    def seen(self, viewer: Viewer) -> tuple[Picture, View]:
        """Return what is known, as far as `viewer` may see it. Raises MissingError while nothing is known yet."""
        self.watch.asked()
        picture = self.watch.picture
        if picture.state.production is None:
            raise MissingError(
                "nothing is known of the production yet: this home never read its ledger, and the store does not answer"
            )
        minute = self._minute()
        self._rows.turn_to((picture.number, minute))
        key = ("view", picture.number, minute, *_sight(viewer))
        return picture, self._rows.get(key, lambda: seen_by(picture.view(minute), viewer))

    def _minute(self) -> datetime:
        return self.seat.ledger.now().replace(second=0)

    def _reckoned(self, what: str, viewer: Viewer, reckon: Callable[[Picture, View], Rows]) -> Rows:
        picture, view = self.seen(viewer)
        key = (what, picture.number, view.now, *_sight(viewer))  # all that rows depend on
        return cast("Rows", self._rows.get(key, lambda: reckon(picture, view)))

    def now(self, viewer: Viewer) -> Now:
        return self._reckoned("now", viewer, lambda pic, view: now_of(view, self.reels(viewer), pic.spoke, pic.shifts))

    def reels(self, viewer: Viewer) -> tuple[ReelRow, ...]:
        return self._reckoned("reels", viewer, lambda _, view: reel_rows(view))

    def jobs(self, viewer: Viewer) -> tuple[JobRow, ...]:
        kind = f"jobs as {viewer.role} of {viewer.site}"  # whose buttons they have
        return self._reckoned(kind, viewer, lambda _, view: job_rows(view, viewer))

    def sites(self, viewer: Viewer) -> tuple[SiteRow, ...]:
        return self._reckoned("sites", viewer, lambda pic, view: site_rows(view, pic.spoke, pic.shifts))

    def reel(self, viewer: Viewer, reel: ReelName) -> tuple[ReelRow, tuple[VersionRow, ...]]:
        """Return one reel with its versions. Raises MissingError."""
        _, view = self.seen(viewer)
        row = reel_row(view, reel)
        self.watch.want(each.name for each in view.state.of_reel(reel))
        return row, version_rows(view, reel)

    def findings(self, viewer: Viewer, version: VersionName) -> Report:
        """Return what was found in a version that was looked at. Raises MissingError, BrokenError, TransientError."""
        picture, view = self.seen(viewer)
        return self.shelf.report(newest_look(view.state.version(version)), ask=picture.stale_since is None)

    def coverage(self, viewer: Viewer, code: str) -> tuple[Covered, ...]:
        """Return what the prints of an element's reels cover. Raises RefusedError, MissingError, TransientError."""
        self._check_covers(viewer)
        return self._reckoned(f"coverage {code}", viewer, lambda _, view: reels_along(self.seat, view.state, code))

    def covered_elements(self, viewer: Viewer) -> tuple[str, ...]:
        """Return the elements that can be drawn along. Raises RefusedError for guests."""
        self._check_covers(viewer)
        return aligned_elements(self.seen(viewer)[1].state)

    def _check_covers(self, viewer: Viewer) -> None:
        if viewer.role == "guest":
            raise RefusedError("coverage is about prints of all archives: guests see their own elements, under Reels")

    def material(self, viewer: Viewer, reel: ReelName) -> tuple[MaterialRow, ...]:
        """Return the stills and papers about `reel`, the newest first."""
        return material_rows(self.seen(viewer)[1], reel)

    def lines(
        self, viewer: Viewer, *, before: int | None = None, most: int = 50, reel: ReelName | None = None
    ) -> tuple[LedgerLine, ...]:
        """Return entries, the newest first: those ahead of entry `before`, those about `reel`. Raises MissingError."""
        picture, view = self.seen(viewer)
        reels = set(view.film.reel_names())
        if reel is not None and reel not in reels:
            raise MissingError(f"the production has no reel {reel}: the page Reels shows those it has")
        if reel is not None or viewer.role == "guest":
            wanted = [reel] if reel is not None else sorted(reels)
            slots = sorted({slot for name in wanted for slot in picture.about.get(name, ())}, reverse=True)
        else:
            slots = list(range(len(picture.raws) - 1, -1, -1))
        shown = [slot for slot in slots if before is None or slot < before][:most]
        only = {reel} if reel is not None else reels if viewer.role == "guest" else None
        return ledger_lines([(slot, picture.raws[slot]) for slot in shown], only)

    def foresight(self, viewer: Viewer) -> Foresight:
        """Return the newest forecast, or why there is none. Raises RefusedError for guests."""
        picture, _ = self.seen(viewer)
        if viewer.role == "guest":
            raise RefusedError("the forecast is about all reels and sites: guests see their own elements, under Reels")
        return picture.foresight

    def supposed(self, viewer: Viewer, texts: tuple[str, ...]) -> Foreseen | None:
        """Return what would be if `texts` were so; None without a forecast of today. Raises RefusedError."""
        today = self.foresight(viewer).rows
        return self.supposing.then(today, texts) if today and texts else None

    def compared(self, viewer: Viewer, before: str, after: str) -> Changes:
        """Return what differs between two versions. Raises MissingError, RefusedError, TransientError."""
        _, view = self.seen(viewer)
        one, two = (view.state.version(name) for name in (before, after))
        read = self.seat.manifests.read
        return compare(
            Scanned(read(one.manifest), one.scan_map or ScanMap.start_mark(0)),
            Scanned(read(two.manifest), two.scan_map or ScanMap.start_mark(0)),
        )
