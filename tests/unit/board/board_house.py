"""Four sites, each with a home, and a store in a folder; what they say is signed at the hour a test names."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from relay.clock import SystemClock
from relay.ledger import roster, route, work
from relay.ledger.copy import LocalCopy
from relay.ledger.entry import Entry
from relay.ledger.job_words import JobHandedIn
from relay.ledger.keys import Pen, key_id
from relay.ledger.ledger import Ledger
from relay.ledger.words import ReceiptSigned, VersionMade, Word
from relay.media.manifest import Manifest, PackedFile
from relay.model import Production, ReelName, ScanMap, VersionName, digest_of, version_name
from relay.settings import Home, SiteFile
from relay.store.directory import DirectoryStore
from relay.store.keys import object_key

RULER, SCANNER, GRADER, TOKYO = "lisbon", "halifax", "kolkata", "tokyo"
FRAME_SIZE = 12_750_000  # bytes, of a 2048x1556 10-bit DPX

SITES: list[dict[str, Any]] = [
    {"name": RULER, "title": "Lisbon: supervision and editing", "zone": "Europe/Lisbon", "stages": ["edit"]},
    {"name": SCANNER, "title": "Halifax: scanning", "zone": "America/Halifax", "stages": ["scan"], "mends": True},
    {"name": GRADER, "title": "Kolkata: grading", "zone": "Asia/Kolkata", "stages": ["grade", "edit"]},
    {
        "name": TOKYO,
        "title": "Tokyo: scanning and conform",
        "zone": "Asia/Tokyo",
        "stages": ["scan", "conform"],
    },
]
SHIFTS = {RULER: ("09:00", "18:00"), SCANNER: ("08:30", "17:30"), GRADER: ("10:00", "19:00"), TOKYO: ("09:00", "18:30")}
ROUTE: list[dict[str, Any]] = [
    {"name": "scan"},
    {"name": "edit", "after": ["scan"], "may_move": True},
    {"name": "grade", "after": ["scan"]},
    {"name": "conform", "after": ["edit", "grade"]},
]
ELEMENTS: list[dict[str, Any]] = [
    {
        "code": "A",
        "title": "The tinted print",
        "kind": "projection print",
        "gauge": "35mm",
        "base": "nitrate",
        "holder": "Copper Shelf Film Vault",
        "speed": "20",
        "loan": {"due_back": "2027-04-30", "credit": "Copper Shelf Film Vault", "permitted_use": "this restoration"},
        "reel": [{"name": f"R0{n}", "frames": frames} for n, frames in enumerate((15_840, 16_320, 14_976, 12_208), 1)],
    },
    {
        "code": "B",
        "title": "The safety master",
        "kind": "fine grain master",
        "gauge": "35mm",
        "base": "triacetate",
        "holder": "North Stair Picture Archive",
        "speed": "20",
        "reel": [{"name": f"R0{n}", "frames": frames} for n, frames in enumerate((15_600, 16_100, 13_500), 1)],
    },
    {
        "code": "C",
        "title": "The schoolroom print",
        "kind": "projection print",
        "gauge": "16mm",
        "base": "diacetate",
        "holder": "Fennowmere District Film Store",
        "speed": "20",
        "reel": [{"name": "R01", "frames": 9_200, "note": "Can marked 'part one'"}, {"name": "R02"}],
    },
]


def quillmark(*, shifts: bool = True, **other: Any) -> Production:
    """Return the invented production; `other` replaces what would stand in its file."""
    sites = [{**site} for site in SITES]
    for site in sites if shifts else ():
        begins, ends = SHIFTS[site["name"]]
        site["shift"] = [{"days": ["mon", "tue", "wed", "thu", "fri", "sat", "sun"], "begins": begins, "ends": ends}]
    plain = {
        "name": "quillmark",
        "title": "The Lamp at Quillmark",
        "coordinator": RULER,
        "premiere": {"at": "2027-09-18T19:00:00", "zone": "Europe/Oslo", "venue": "The Blue Stove Hall, Oslo"},
        "site": sites,
        "stage": ROUTE,
        "element": ELEMENTS,
    }
    return Production.model_validate({**plain, **other})


class HourClock(SystemClock):
    """Shows the hour that it was set to."""

    def __init__(self, hour: datetime) -> None:
        self.hour = hour

    def now(self) -> datetime:
        return self.hour


class BoardHouse:
    """A production on one machine. `clock.hour` is when what is said next is said."""

    def __init__(self, place: Path, film: Production | None = None, hour: datetime | None = None) -> None:
        self.place = place
        self.film = film or quillmark()
        self.clock = HourClock(hour or datetime.now(UTC).replace(microsecond=0))
        self.store_folder = place / "store"
        self.store = DirectoryStore.founded(self.store_folder)
        self.pens = {site.name: Pen.fresh(site.name) for site in self.film.sites}
        self._ledgers: dict[str, Ledger] = {}
        self._found()

    def _found(self) -> None:
        root = Pen.fresh("root")
        self.root = key_id(root.public)
        for site in self.pens:
            self._make_home(site)
        ruler = self.ledger(RULER)
        roster.found(ruler, self.film, root, self.pens[RULER])
        for site in list(self.pens)[1:]:
            invitation = roster.invite(ruler, self.pens[RULER], site, str(self.store_folder))
            roster.join(self.ledger(site), invitation, self.pens[site])

    def home(self, site: str) -> Home:
        return Home(folder=self.place / site)

    def _make_home(self, site: str) -> None:
        home = self.home(site)
        home.write(SiteFile(site=site, production=self.film.name, root=self.root, store=str(self.store_folder)))
        self.pens[site].save(home.key)

    def ledger(self, site: str) -> Ledger:
        if site not in self._ledgers:
            copy = LocalCopy(self.place / f"{site}-writer")
            self._ledgers[site] = Ledger(self.store, copy, self.clock, self.root)
        return self._ledgers[site]

    def at(self, hours_ago: float) -> None:
        """Let what follows be said so many hours before the present."""
        self.clock.hour = (datetime.now(UTC) - timedelta(hours=hours_ago)).replace(microsecond=0)

    def says(self, site: str, *words: Word) -> Entry:
        return self.ledger(site).insist(self.pens[site], lambda _state, _now: list(words))

    def opens(self) -> None:
        work.open_due(self.ledger(RULER), self.pens[RULER])

    def claims(self, site: str, job: str, hours: float = 30) -> None:
        work.claim(self.ledger(site), self.pens[site], job, self.clock.hour + timedelta(hours=hours))

    def sends(self, site: str, reel: str, frames: Iterable[int], note: str = "", look: str = "a") -> VersionMade:
        """Store a manifest of frames that lie nowhere, and return the word for it."""
        numbers = sorted(frames)
        stem = reel.replace("/", "_")
        files = [
            PackedFile(f"{stem}.{86_400 + n:07d}.dpx", FRAME_SIZE, digest_of(f"{look} {reel} {n}".encode()))
            for n in numbers
        ]
        manifest = Manifest.of(files)
        body = manifest.encode()
        self.store.create(object_key(manifest.digest()), body, manifest.digest())
        state = self.ledger(site).follow()
        newest = state.newest.get(ReelName(reel), 0)
        return VersionMade(
            version=version_name(ReelName(reel), newest + 1),
            manifest=manifest.digest(),
            files=len(files),
            size=FRAME_SIZE * len(files),
            parents=(version_name(ReelName(reel), newest),) if newest else (),
            scan_map=ScanMap.start_mark(86_400),
            note=note,
        )

    def hands_in(self, site: str, job: str, frames: Iterable[int], note: str = "", look: str = "a") -> VersionName:
        """Hand in a job that `site` holds."""
        held = work.job_named(self.ledger(site).follow(), job)
        made = self.sends(site, held.reel, frames, note, look)
        epoch = held.claim.epoch if held.claim else 0
        self.says(site, made, JobHandedIn(job=held.job, epoch=epoch, version=made.version, note=note))
        return made.version

    def receives(self, site: str, version: str, faults: Iterable[dict[str, Any]] = ()) -> None:
        state = self.ledger(site).follow()
        bad = tuple(faults)
        word = {"version": version, "manifest": state.versions[VersionName(version)].manifest, "whole": not bad}
        self.says(site, ReceiptSigned.model_validate({**word, "faults": bad, "faults_in_all": len(bad)}))

    def delivers(
        self, site: str, job: str, frames: Iterable[int], to: str, note: str = "", look: str = "a"
    ) -> VersionName:
        """Claim, hand in, and let another site receive it whole."""
        self.claims(site, job)
        made = self.hands_in(site, job, frames, note, look)
        self.receives(to, made)
        return made

    def accepts(self, job: str) -> None:
        work.accept(self.ledger(RULER), self.pens[RULER], job)

    @property
    def due(self) -> int:
        """How many jobs the route asks for that nobody has opened."""
        return len(route.due(self.ledger(RULER).follow()))
