"""A place's story against the ledger's own bytes: nothing that touches the place is left out, and nothing else told."""

import json
import random
import re
from collections.abc import Callable
from typing import get_args, get_type_hints

from hypothesis import given, settings
from hypothesis import strategies as st

from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade
from relay.ledger.decision_words import (
    DecisionMade,
    Evidence,
    ProductionClosed,
    Region,
    RegionCompared,
    RegionJudged,
)
from relay.ledger.entry import read_entry
from relay.ledger.job_words import JobClaimed, JobHandedIn, JobOpened, SiteExpected
from relay.ledger.pin_words import PlacePinned
from relay.ledger.words import (
    CopyChecked,
    MaterialKept,
    ProductionRevised,
    ReceiptSigned,
    VersionConformed,
    VersionsAligned,
    Word,
)
from relay.model import FrameRange, Place, Production, ReelName, VersionName
from relay.programme.story import NAMING, story
from tests.unit.ledger.scene import COORDINATOR, SITES, Told, pen, production, some_digest, version

EXAMPLES = 20
REELS = ("A/R01", "A/R02", "B/R01", "P/R01")
ABOUT = ("A/R01", "A/R02", "B/R01", "A", "B", "programme", "P/R01")


def film(elements: str) -> Production:
    """Return a production whose element P is the restored programme itself."""
    plain = production(elements=f"{elements}P").model_dump(mode="json", by_alias=True)
    plain["element"][-1]["kind"] = "restored programme"
    return Production.model_validate(plain)


class Days:
    """Things said at random; what the rules refuse is not said."""

    def __init__(self, seed: int) -> None:
        self.told = Told.founded(film=film("AB"))
        self.chance = random.Random(seed)
        kinds: list[Callable[[], tuple[Word, ...]]] = [
            self._made, self._made, self._received, self._kept, self._opened, self._claimed, self._handed_in,
            self._decided, self._decided, self._left, self._compared, self._judged, self._checked, self._revised,
            self._aligned, self._pinned, self._conformed, self._closed, self._asked, self._shown, self._expected,
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
        return (ProductionRevised(production=film(self.chance.choice(["AB", "ABC"])), reason="a print turned up"),)

    def _aligned(self) -> tuple[Word, ...]:
        one, other = self.any_version(), self.any_version()
        if not one or not other or one == other:
            return ()
        return (VersionsAligned(one=one, other=other, frame_map=some_digest("m"), matched=1, sure=1, frames=9),)

    def _pinned(self) -> tuple[Word, ...]:
        one, other = self.chance.sample(REELS, 2)
        frame, there = self.chance.randrange(130), self.chance.choice([None, self.chance.randrange(130)])
        return (PlacePinned(one=one, frame=frame, other=other, other_frame=there),)

    def _conformed(self) -> tuple[Word, ...]:
        name = self.any_version()
        about = {"version": name, "manifest": self._manifest(name)} if name else {}
        found = {"cut_list": some_digest("list"), "report": some_digest("report"), "blocking": 0, "warning": 0}
        return (VersionConformed.model_validate({**about, **found}),) if name else ()

    def _closed(self) -> tuple[Word, ...]:
        name = self.any_version()
        return (ProductionClosed(export=some_digest("bag"), finals=(name,), files=1, size=1),) if name else ()

    def _asked(self) -> tuple[Word, ...]:
        if self.chance.random() < 0.3:
            return (ComparisonAsked(cut_list=some_digest("list"), elements=("A", "B"), rate="18"),)
        prints = tuple(dict.fromkeys(name for name in (self.any_version(), self.any_version()) if name))
        if len({name.rpartition("/")[0] for name in prints}) < 2:
            return ()
        return (ComparisonAsked(prints=prints, frames=next(iter(self.frames()), None), rate="18"),)

    def _shown(self) -> tuple[Word, ...]:
        asked = [slot for slot, word in words_of(self.told) if word["word"] == "comparison-asked"]
        if not asked:
            return ()
        about, name = self.chance.choice(asked), self.any_version()
        if name and self.chance.random() < 0.6:
            return (ComparisonMade(asked=about, manifest=some_digest("movie"), size=9, steps=9, shown=(name,)),)
        return (ComparisonNotMade(asked=about, why="a disk is full"),)

    def _expected(self) -> tuple[Word, ...]:
        return (SiteExpected(job=f"scan/{self.chance.choice(REELS)}/1", to="lisbon", reason="its day begins"),)


def words_of(told: Told):
    """Yield every word by what stands in the entries' bytes, with the number of its entry."""
    for slot, raw in enumerate(told.raws):
        for word in json.loads(raw.partition(b"\n")[0])["words"]:
            yield slot, word


def mentioned(told: Told, about: str, frames: set[int]) -> set[tuple[int, str]]:
    """Return which words name a place by what stands in the entries' bytes; `frames` of it, none for all of it."""
    named, found = {}, set()
    for slot, word in words_of(told):
        kind = word["word"]
        later = word.get("decision") or word.get("asked") if kind.startswith(("region-", "comparison-")) else None
        own = () if kind.startswith("region-") else parts_of(told, word)  # they are about the region's frames alone
        parts = [*own, *named.get(later, ())]
        if kind == "comparison-asked" or word.get("region"):
            named[slot] = [part for part in parts if kind != "decision-made" or part[0] == word["place"]["about"]]
        if any(is_on(about, frames, *part) for part in parts) or kind == "production-created":
            found.add((slot, kind))
    return found


def is_on(about: str, frames: set[int], name: str, spans: set[int]) -> bool:
    """Answer whether a word on `spans` of `name` touches `frames` of `about`; none of either stands for all."""
    if about == "programme" and name.partition("/")[0] == "P":
        return True
    if name == about:
        return not spans or not frames or bool(spans & frames)
    return name == about.partition("/")[0] or name.partition("/")[0] == about


def parts_of(told: Told, word: dict[str, object]):
    """Yield each thing that a word names, `A/R01`, with the frames of it that the word means: none for all."""
    kind, spans = word["word"], spans_of(word)
    if kind in {"version-conformed", "production-closed"} or word.get("cut_list"):
        yield "programme", set()
    for one, at in (("one", "frame"), ("other", "other_frame")):
        if kind == "place-pinned":
            yield word[one], {word[at]} if at in word and word[at] is not None else set()
    for name, value in word.items():
        if name in {"place", "instead"} and isinstance(value, dict):
            yield value["about"], spans_of(value)
        elif name == "evidence":
            for seen in value:
                if seen.get("version"):
                    yield reel(seen["version"]), spans_of(seen)
                if seen.get("against"):
                    yield reel(seen["against"]), set()
        elif name == "job":
            mine = spans or spans_of(opened(told, value))
            yield "/".join(value.split("/")[1:3]), mine
        elif name == "about":
            yield value, spans
        elif name == "prints" and spans:
            yield reel(value[0]), spans
            yield from ((reel(each), set()) for each in value[1:])
        elif kind != "place-pinned" and isinstance(value, str) and re.fullmatch(r"\w+/\w+/v\d+", value):
            yield reel(value), set()
        elif isinstance(value, list) and name not in {"frames", "words", "flagged"}:
            yield from ((reel(each), set()) for each in value if isinstance(each, str))


def reel(name: str) -> str:
    return "/".join(name.split("/")[:2])


def opened(told: Told, job: str) -> dict[str, object]:
    found = (word for _, word in words_of(told) if word["word"] == "job-opened" and word["job"] == job)
    return next(found, {})


def spans_of(word: dict[str, object]) -> set[int]:
    ranges = word.get("frames") or []
    spans = [ranges] if isinstance(ranges, dict) else ranges if isinstance(ranges, list) else []
    return {at for each in spans for at in range(each["first"], each["last"] + 1)}


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from(ABOUT), st.integers(0, 130), st.booleans())
def test_every_word_that_touches_a_place_is_told_and_no_other(seed: int, about: str, first: int, part: bool):
    told = Days(seed).told
    entries = [read_entry(raw, slot) for slot, raw in enumerate(told.raws)]
    frames = (FrameRange(first=first, last=first + 9),) if part and about not in "AB" else ()
    found = {(said.entry, said.word) for said in story(told.state, entries, Place(about=about, frames=frames))}
    expected = mentioned(told, about, set(range(first, first + 10)) if frames else set())
    revised = {each for each in found | expected if each[1] == "production-revised"}
    assert found - revised == expected - revised
    assert about != "programme" or revised == {
        (slot, word["word"]) for slot, word in words_of(told) if "revised" in word["word"]
    }


def test_every_field_in_which_a_word_names_a_reel_a_version_or_an_element_makes_it_part_of_their_stories():
    told_apart = {"reel", "about", "place", "instead", "evidence", "region", "production", "job"}
    for kind in get_args(Word):
        for name, hint in get_type_hints(kind).items():
            if {VersionName, ReelName} & set(parts_in(hint)):
                assert name in {*NAMING, *told_apart}, f"{kind.__name__}.{name} names something, and no story tells it"


def parts_in(hint: object):
    yield hint
    for part in get_args(hint):
        yield from parts_in(part)


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
