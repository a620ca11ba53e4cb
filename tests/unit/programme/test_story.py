"""A place's story against the ledger's own bytes: nothing that touches the place is left out, and nothing else told."""

import json
import random
import re
from collections.abc import Callable

from hypothesis import given, settings
from hypothesis import strategies as st

from relay.ledger.decision_words import DecisionMade, Evidence, Region, RegionCompared, RegionJudged
from relay.ledger.entry import read_entry
from relay.ledger.job_words import JobClaimed, JobHandedIn, JobOpened
from relay.ledger.words import CopyChecked, MaterialKept, ProductionRevised, ReceiptSigned, Word
from relay.model import FrameRange, Place
from relay.programme.story import story
from tests.unit.ledger.scene import COORDINATOR, SITES, Told, pen, production, some_digest, version

REELS = ("A/R01", "A/R02", "B/R01")
ABOUT = (*REELS, "A", "B", "programme")


class Days:
    """Things said at random; what the rules refuse is not said."""

    def __init__(self, seed: int) -> None:
        self.told = Told.founded()
        self.chance = random.Random(seed)
        kinds: list[Callable[[], tuple[Word, ...]]] = [
            self._made, self._made, self._received, self._kept, self._opened, self._claimed, self._handed_in,
            self._decided, self._decided, self._left, self._compared, self._judged, self._checked, self._revised,
        ]  # fmt: skip
        for _ in range(60):
            words = self.chance.choice(kinds)()
            by = pen(self.chance.choice(SITES))
            if words and self.told.may(by, *words):
                self.told.say(by, *words)

    def frames(self) -> tuple[FrameRange, ...]:
        first = self.chance.randrange(100)
        return (FrameRange(first=first, last=first + self.chance.randrange(40)),) if self.chance.random() < 0.6 else ()

    def any_version(self) -> str | None:
        return self.chance.choice([*self.told.state.versions]) if self.told.state.versions else None

    def _made(self) -> tuple[Word, ...]:
        reel, parent = self.chance.choice(REELS), self.any_version()
        number = self.told.state.newest.get(reel, 0) + 1
        return (version(reel, number, parents=(parent,) if parent and self.chance.random() < 0.5 else ()),)

    def _received(self) -> tuple[Word, ...]:
        name = self.any_version()
        return (ReceiptSigned(version=name, manifest=self._manifest(name), whole=True),) if name else ()

    def _checked(self) -> tuple[Word, ...]:
        name = self.any_version()
        about = {"version": name, "manifest": self._manifest(name)} if name else {}
        return (CopyChecked.model_validate({**about, "place": "bucket", "outcome": "whole"}),) if name else ()

    def _manifest(self, name: str) -> str:
        return self.told.state.versions[name].manifest

    def _kept(self) -> tuple[Word, ...]:
        about = self.chance.choice(ABOUT[:5])
        frames = self.frames() if "/" in about else ()
        return (MaterialKept(about=about, frames=frames, name="still.png", object=some_digest("still"), size=9),)

    def _opened(self) -> tuple[Word, ...]:
        reel, number = self.chance.choice(REELS), self.chance.randrange(1, 4)
        frames = self.frames() if number > 1 else ()
        return (JobOpened(job=f"scan/{reel}/{number}", stage="scan", reel=reel, frames=frames),)

    def _claimed(self) -> tuple[Word, ...]:
        jobs = [*self.told.state.jobs]
        return (JobClaimed(job=self.chance.choice(jobs), lease=600),) if jobs else ()

    def _handed_in(self) -> tuple[Word, ...]:
        held = [job for job in self.told.state.jobs.values() if job.claim]
        if not held:
            return ()
        job = self.chance.choice(held)
        made = version(job.reel, self.told.state.newest.get(job.reel, 0) + 1)
        return made, JobHandedIn(job=job.job, epoch=job.claim.epoch, version=made.version)

    def _place(self) -> Place:
        about = self.chance.choice(ABOUT)
        return Place(about=about, frames=self.frames() if about not in "AB" else ())

    def _decided(self) -> tuple[Word, ...]:
        name, other = self.any_version(), self.any_version()
        seen = (Evidence(version=name, frames=self.frames(), against=other),) if name and other else ()
        instead = self._place() if self.chance.random() < 0.3 else None
        return (DecisionMade(place=self._place(), verdict="not used", because="so", evidence=seen, instead=instead),)

    def _left(self) -> tuple[Word, ...]:
        name, frames = self.any_version(), self.frames()
        if not name or not frames:
            return ()
        place = Place(about=name.rpartition("/")[0], frames=frames)
        region = Region(version=name, x=0, y=0, width=9, height=9)
        return (DecisionMade(place=place, verdict="left as it is", because="a hair", region=region),)

    def _compared(self) -> tuple[Word, ...]:
        left = [each.entry for each in self.told.state.decisions if each.word.region]
        about = {"decision": self.chance.choice(left), "version": self.any_version()} if left else {}
        return (RegionCompared.model_validate({**about, "compared": 9, "crops": some_digest("x")}),) if left else ()

    def _judged(self) -> tuple[Word, ...]:
        seen = self.told.state.comparisons
        return (RegionJudged(decision=seen[-1].decision, version=seen[-1].version, stands=True),) if seen else ()

    def _revised(self) -> tuple[Word, ...]:
        film = production(elements=self.chance.choice(["AB", "ABC"]))
        return (ProductionRevised(production=film, reason="a print turned up"),)


def mentioned(told: Told, reel: str, frames: range | None) -> set[tuple[int, str]]:
    """Return which words name `reel`, or its element as a whole, by what stands in the entries' bytes."""
    named = re.compile(rf'"(?:\w+/)?{reel}(?:/v?\d+)?"')
    element, found = reel.partition("/")[0], set[tuple[int, str]]()
    places = {}
    for slot, raw in enumerate(told.raws):
        for said in json.loads(raw.partition(b"\n")[0])["words"]:
            kind, word = said["word"], said
            if kind == "decision-made" and word.get("region"):
                places[slot] = word["place"]
            if kind.startswith("region-"):
                word = {"place": places[said["decision"]]}
            parts = list(parts_of(word))
            text = json.dumps([part for part, _ in parts])
            whole = kind == "production-created" or re.search(rf'"{element}"', text)
            on_it = [spans for part, spans in parts if named.search(json.dumps(part))]
            job = word.get("job")
            if job and kind not in {"job-opened", "hand-on-offered"}:
                on_it = [
                    spans_of(opened(told, job)) if part == [job] else spans
                    for part, spans in parts
                    if named.search(json.dumps(part))
                ]
            if whole or any(frames is None or not spans or spans & set(frames) for spans in on_it):
                found.add((slot, kind))
    return found


def opened(told: Told, job: str) -> dict[str, object]:
    for raw in told.raws:
        for word in json.loads(raw.partition(b"\n")[0])["words"]:
            if word["word"] == "job-opened" and word["job"] == job:
                return word
    raise AssertionError(job)


def spans_of(word: dict[str, object]) -> set[int]:
    return {at for each in word.get("frames", []) for at in range(each["first"], each["last"] + 1)}


def parts_of(word: dict[str, object]):
    """Yield each thing that a word names, with the frames of it that the word means: none for all."""
    if "frames" in word:
        yield [word.get("about"), word.get("job"), word.get("reel")], spans_of(word)
    for name, value in word.items():
        if name in {"place", "instead"} and isinstance(value, dict):
            yield [value["about"]], spans_of(value)
        elif name == "evidence":
            for seen in value:
                yield [seen.get("version")], spans_of(seen)
                yield [seen.get("against")], set()
        elif name in {"version", "parents", "inputs"} or (name in {"about", "job"} and "frames" not in word):
            yield [value], set()


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from(REELS), st.integers(0, 130), st.booleans())
def test_every_word_that_touches_a_place_is_told_and_no_other(seed: int, reel: str, first: int, part: bool):
    told = Days(seed).told
    entries = [read_entry(raw, slot) for slot, raw in enumerate(told.raws)]
    place = Place(about=reel, frames=(FrameRange(first=first, last=first + 9),) if part else ())
    found = {(said.entry, said.word) for said in story(told.state, entries, place)}
    expected = mentioned(told, reel, range(first, first + 10) if part else None)
    assert {each for each in found if each[1] != "production-revised"} == expected - {
        each for each in expected if each[1] == "production-revised"
    }


def test_a_revision_is_told_where_it_changes_the_place_s_own_element():
    told = Told.founded()
    more = production(reels=4)
    told.say(pen(COORDINATOR), ProductionRevised(production=production(elements="ABC"), reason="a print turned up"))
    told.say(pen(COORDINATOR), ProductionRevised(production=more.model_copy(), reason="a fourth reel"))
    entries = [read_entry(raw, slot) for slot, raw in enumerate(told.raws)]
    said = [each.sentence for each in story(told.state, entries, Place(about="A/R01"))]
    assert said == [
        "created the production 'The Tide Table', coordinated by oslo",
        "revised the production: a fourth reel",
    ]
