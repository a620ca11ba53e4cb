"""An invented production, its sites' keys, and a ledger that is told entry by entry: what ledger tests are about."""

import hashlib
import random
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Self

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from relay.ledger.entry import Entry, read_entry, write_entry
from relay.ledger.history import History
from relay.ledger.keys import KeyId, Pen, key_id
from relay.ledger.state import State
from relay.ledger.words import ProductionCreated, SiteInvited, SiteJoined, VersionMade, Word
from relay.model import Digest, Production, digest_of

COORDINATOR = "oslo"
MENDER = "halifax"
SITES = (COORDINATOR, "lisbon", MENDER, "kolkata")
ZONES = {"oslo": "Europe/Oslo", "lisbon": "Europe/Lisbon", "halifax": "America/Halifax", "kolkata": "Asia/Kolkata"}
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@lru_cache(maxsize=1024)
def pen(name: str, which: str = "first") -> Pen:
    """Return the same pen for the same words, in every run."""
    return Pen(name, Ed25519PrivateKey.from_private_bytes(hashlib.sha256(f"{name} {which}".encode()).digest()))


def some_digest(text: str) -> Digest:
    return digest_of(text.encode())


def production(
    *, sites: tuple[str, ...] = SITES, reels: int = 3, elements: str = "AB", name: str = "tide", tries: int = 2
) -> Production:
    """Return a production whose route has one stage: every reel is scanned, and every site can do that."""
    return Production.model_validate(
        {
            "name": name,
            "title": "The Tide Table",
            "premiere": {"at": "2026-10-24T20:00:00", "zone": "Europe/Oslo", "venue": "The old harbour hall"},
            "coordinator": COORDINATOR,
            "site": [
                {
                    "name": site,
                    "title": f"Site {site}",
                    "zone": ZONES.get(site, "UTC"),
                    "mends": site == MENDER,
                    "stages": ["scan"],
                }
                for site in sites
            ],
            "stage": [{"name": "scan", "may_move": True, "tries": tries}],
            "element": [
                {
                    "code": code,
                    "title": f"Print {code}",
                    "kind": "projection print",
                    "gauge": "35 mm",
                    "base": "nitrate",
                    "holder": f"Archive {code}",
                    "loan": {"due_back": "2026-12-31", "credit": f"Courtesy of {code}", "permitted_use": "restoration"},
                    "reel": [{"name": f"R{number:02d}", "frames": 16000} for number in range(1, reels + 1)],
                }
                for code in elements
            ],
        }
    )


def created(film: Production | None = None) -> ProductionCreated:
    return ProductionCreated(
        production=film or production(), root=pen("root").public, coordinator=pen(COORDINATOR).public
    )


def version(reel: str = "A/R01", number: int = 1, **more: object) -> VersionMade:
    told = {"version": f"{reel}/v{number}", "manifest": some_digest(f"{reel} {number}"), "files": 160, "size": 2_000}
    return VersionMade.model_validate({**told, **more})


class Told:
    """A ledger in memory. What it is told goes through the same checks as what is read from a bucket."""

    def __init__(self, root: KeyId | None = None) -> None:
        self.history = History(root)
        self.raws: list[bytes] = []

    @property
    def state(self) -> State:
        return self.history.state

    def written(self, by: Pen, *words: Word, **other: object) -> bytes:
        """Return the bytes of the next entry, which are not told yet; `other` replaces what would stand in it."""
        place = {
            "sequence": len(self.raws),
            "previous": self.state.digest,
            "time": NOON + timedelta(minutes=len(self.raws)),
            "nonce": f"{len(self.raws):032x}",
        }
        return write_entry(by, words, **{**place, **other})  # type: ignore[arg-type]

    def say(self, by: Pen, *words: Word) -> Entry:
        """Tell the next entry. Raises BrokenError, and leaves what was told as it was."""
        return self.take(self.written(by, *words))

    def take(self, raw: bytes) -> Entry:
        fresh = History(self.history.root)
        fresh.state = self.state.draft()
        entry = fresh.take(raw)
        self.history.take(raw)
        self.raws.append(raw)
        return entry

    def may(self, by: Pen, *words: Word) -> bool:
        """Answer whether `by` may say this now; nothing is told."""
        from relay.errors import RefusedError
        from relay.ledger import rules

        entry = read_entry(self.written(by, *words), len(self.raws))
        try:
            rules.fold(self.state.draft(), entry)
        except RefusedError:
            return False
        return True

    @classmethod
    def founded(cls, *, joined: tuple[str, ...] = SITES[1:], film: Production | None = None) -> Self:
        """Return a ledger whose production exists and whose sites have joined."""
        told = cls(key_id(pen("root").public))
        told.say(pen("root"), created(film))
        for site in joined:
            told.say(pen(COORDINATOR), SiteInvited(site=site, invitation=pen(site, "invitation").public))
            told.say(pen(site, "invitation"), SiteJoined(site=site, key=pen(site).public))
        return told


def longer(told: Told, count: int, seed: int = 0) -> Told:
    """Tell `count` more entries: versions and receipts by all sites."""
    from relay.ledger.words import ReceiptSigned

    chance = random.Random(seed)
    reels = told.state.film().reel_names()
    for _ in range(count):
        by = pen(chance.choice(SITES))
        reel = chance.choice(reels)
        newest = told.state.newest.get(reel, 0)
        if newest and chance.random() < 0.4:
            made = told.state.version(f"{reel}/v{newest}")
            told.say(by, ReceiptSigned(version=made.name, manifest=made.manifest, whole=True))
        else:
            told.say(by, version(reel, newest + 1, note=f"pass {newest + 1}"))
    return told
