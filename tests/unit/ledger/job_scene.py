"""A floor on which jobs are done: a production whose route forks and joins, and shortcuts for what is said there."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any, TypeVar

import pytest

from relay.errors import RefusedError
from relay.ledger import route, rules
from relay.ledger.entry import read_entry
from relay.ledger.job_state import Job
from relay.ledger.job_words import HandOnOffered, JobAccepted, JobClaimed, JobHandedIn, JobOpened, JobReturned
from relay.ledger.words import ProductionRevised, ReceiptSigned, SiteRemoved, Word
from relay.model import Production, ReelName, VersionName
from tests.unit.ledger.scene import COORDINATOR, NOON, SITES, Told, pen, production, version

STAGES: list[dict[str, Any]] = [
    {"name": "scan", "accepted_by": ["halifax"]},
    {"name": "copy", "after": ["scan"], "command": ["shrink", "{input}", "{output}"], "tries": 2},
    {"name": "edit", "after": ["copy"], "of": ["P/R01"], "may_move": True},
    {"name": "grade", "after": ["scan"], "next_opens_on": "acceptance", "accepted_by": ["halifax"]},
    {"name": "conform", "after": ["edit", "grade"], "of": ["P/R01"], "may_move": True, "tries": 2},
]
"""Reference copies are edited while scans are graded; both join at conform, where all reels become one programme."""

REELS = ("A/R01", "A/R02", "B/R01")
"""Those that are scanned."""

SCAN = "scan/A/R01/1"
COPY = "copy/A/R01/1"
EDIT = "edit/P/R01/1"
GRADE = "grade/A/R01/1"
NOTE = {"done": "reel 1", "left": "reel 2"}

SOON = NOON + timedelta(days=2)
LATER = NOON + timedelta(days=4)


Test = TypeVar("Test", bound=Callable[..., None])


def arrow(_letter: str) -> Callable[[Test], Test]:
    """Say which arrow of docs/STATES.md a test is about; test_job_states.py reads it from the source."""
    return lambda test: test


def film(
    stages: list[dict[str, Any]] | None = None,
    elements: dict[str, int] | None = None,
    does: dict[str, list[str]] | None = None,
    sites: tuple[str, ...] = SITES,
) -> Production:
    """Return a production: `elements` gives each its count of reels, P is the restored programme.

    Every site does every stage, except where `does` says otherwise.
    """
    route_of = STAGES if stages is None else stages
    names = [stage["name"] for stage in route_of]
    plain = production(sites=sites).model_dump(mode="json", by_alias=True)
    kinds = {"P": "restored programme"}
    plain["stage"] = route_of
    plain["site"] = [{**site, "stages": (does or {}).get(site["name"], names)} for site in plain["site"]]
    plain["element"] = [
        {
            **plain["element"][0],
            "code": code,
            "kind": kinds.get(code, "projection print"),
            "reel": [{"name": f"R{number:02d}"} for number in range(1, count + 1)],
        }
        for code, count in (elements or {"A": 2, "B": 1, "P": 1}).items()
    ]
    return Production.model_validate(plain)


def receipt(name: str, *, whole: bool = True) -> ReceiptSigned:
    reel, _, number = name.rpartition("/v")
    manifest = version(reel, int(number)).manifest
    faults = () if whole else ({"path": "1.dpx", "what": "changed", "where": "bucket"},)
    return ReceiptSigned.model_validate(
        {"version": name, "manifest": manifest, "whole": whole, "faults": faults, "faults_in_all": len(faults)}
    )


class Floor(Told):
    """A ledger in which jobs are done. Sites are named, not their pens."""

    def says(self, site: str, *words: Word) -> int:
        """Tell an entry and return its number. Raises RefusedError, as the writer would see it."""
        rules.fold(self.state.draft(), read_entry(self.written(pen(site), *words), len(self.raws)))
        return self.say(pen(site), *words).sequence

    def job(self, name: str) -> Job:
        return self.state.jobs[name if name.rpartition("/")[2].isdigit() else f"{name}/1"]

    def opens(self) -> list[str]:
        """Say what is due, and return the words' kinds and jobs."""
        due = route.due(self.state)
        if due:
            self.says("kolkata", *due)
        return [f"{'opened' if isinstance(word, JobOpened) else 'renewed'} {word.job}" for word in due]

    def claims(self, name: str, site: str = "lisbon", **how: object) -> int:
        said = how or {"until": SOON}
        return self.says(site, JobClaimed.model_validate({"job": self.job(name).job, **said}))

    def hands_in(self, name: str, site: str = "lisbon", epoch: int | None = None) -> VersionName:
        """Hand in the next version of the job's reel by its present claim, or that of `epoch`."""
        job = self.job(name)
        claim = epoch or (job.claim.epoch if job.claim else 0)
        made = self.next_version(job.reel)
        self.says(site, made, JobHandedIn(job=job.job, epoch=claim, version=made.version))
        return made.version

    def next_version(self, reel: ReelName) -> Any:
        return version(reel, self.state.newest.get(reel, 0) + 1)

    def does(self, name: str, site: str = "lisbon") -> VersionName:
        """Claim and hand in."""
        self.claims(name, site)
        return self.hands_in(name, site)

    def delivers(self, name: str, site: str = "lisbon") -> VersionName:
        """Claim, hand in, and let the coordinator receive it whole."""
        made = self.does(name, site)
        self.says(COORDINATOR, receipt(made))
        return made

    def accepts(self, name: str, by: str = COORDINATOR) -> None:
        self.accepts_version(name, self.job(name).outcome, by)

    def accepts_version(self, name: str, made: VersionName | None, by: str = COORDINATOR) -> None:
        self.says(by, JobAccepted.model_validate({"job": self.job(name).job, "version": made}))

    def gives_back(self, name: str, by: str = COORDINATOR) -> VersionName:
        job = self.job(name)
        self.says(by, JobReturned(job=job.job, version=job.outcome, reasons="scratched"))
        return job.outcome

    def asks(self, name: str, by: str = COORDINATOR, **more: object) -> str:
        """Ask for work beside the route's own: `grade/A/R01/2`."""
        stage, element, reel, _ = name.split("/")
        self.says(by, JobOpened.model_validate({"job": name, "stage": stage, "reel": f"{element}/{reel}", **more}))
        return name

    def removes(self, site: str) -> None:
        self.says(COORDINATOR, SiteRemoved(site=site, reason="the house closed"))

    def revises(self, film: Production) -> None:
        self.says(COORDINATOR, ProductionRevised(production=film, reason="it turned out otherwise"))


def floor(**about: Any) -> Floor:
    return Floor.founded(film=film(**about))


def floor_after(*stages: str) -> Floor:
    """Return a floor on which these stages of every scanned reel are done, and what comes after them is open."""
    told = floor()
    for stage in stages:
        told.opens()
        for reel in REELS:
            told.delivers(f"{stage}/{reel}")
    told.opens()
    return told


def offered(told: Floor, to: str = "halifax", **more: object) -> int:
    """Let lisbon claim the edit and offer it; return the claim's epoch."""
    epoch = told.claims(EDIT)
    told.says("lisbon", HandOnOffered.model_validate({"job": EDIT, "epoch": epoch, "to": to, **NOTE, **more}))
    return epoch


def refused(match: str) -> Any:
    return pytest.raises(RefusedError, match=match)
