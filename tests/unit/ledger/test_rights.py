"""Every word, and every kind of key that might say it."""

from datetime import timedelta

import pytest

from relay.errors import BrokenError
from relay.ledger.comparison_words import ComparisonAsked, ComparisonMade, ComparisonNotMade
from relay.ledger.decision_words import (
    DecisionMade,
    ProductionClosed,
    Region,
    RegionCompared,
    RegionJudged,
    VersionsRetired,
)
from relay.ledger.history import History
from relay.ledger.job_state import Standing
from relay.ledger.job_words import (
    ClaimExtended,
    ClaimLapsed,
    ClaimReassigned,
    ClaimReleased,
    HandOnDeclined,
    HandOnOffered,
    HandOnTaken,
    InputsRenewed,
    JobAccepted,
    JobClaimed,
    JobHandedIn,
    JobOpened,
    JobRestarted,
    JobReturned,
    JobWithdrawn,
    SiteAsked,
    SiteExpected,
    TryFailed,
    WorkCameLate,
)
from relay.ledger.keys import Pen
from relay.ledger.pin_words import PlacePinned
from relay.ledger.words import (
    WORDS,
    CopyChecked,
    FolderNotSent,
    FolderSettled,
    KeyReplaced,
    MaterialKept,
    ObjectMended,
    ProductionRevised,
    ReceiptSigned,
    SiteInvited,
    SiteJoined,
    SiteRemoved,
    VersionConformed,
    VersionInspected,
    VersionNotInspected,
    VersionsAligned,
    Word,
)
from relay.model import FrameRange, Place, Production, Stage
from tests.unit.ledger.scene import COORDINATOR, MENDER, NOON, Told, created, pen, production, some_digest, version

NEWCOMER = "kolkata"  # invited, not joined
REVOKED = pen("lisbon", "stolen")
STRANGER = pen("lisbon", "nobody's")
HOLDER = pen("lisbon", "second")
EPOCH = 9
SIGNERS: dict[str, Pen] = {
    "root": pen("root"),
    "coordinator": pen(COORDINATOR),
    "holder": HOLDER,
    "mender": pen(MENDER),
    "invited": pen(NEWCOMER, "invitation"),
    "revoked": REVOKED,
    "stranger": STRANGER,
}

MADE = version("A/R01", 1)
JOBS = {
    reel: JobOpened(job=f"scan/{reel}/1", stage="scan", reel=reel)
    for reel in ("A/R01", "A/R02", "A/R03", "B/R01", "B/R02", "B/R03")
}
FREE, HELD, PERSONS, DONE, LAPSED, STOPPED = (opened.job for opened in JOBS.values())
TWICE, RENEWED = "scan/B/R04/1", "clean/B/R04/1"
NEXT_WEEK = NOON + timedelta(days=7)
HAIR = DecisionMade(
    place=Place(about="A/R01", frames=(FrameRange(first=120, last=180),)),
    verdict="left as it is",
    because="it was in the camera gate",
    region=Region(version="A/R01/v1", x=0, y=0, width=12, height=12),
)
LEFT, CLOSING, SHOWN = 27, 29, 30
COMPARED = ComparisonAsked(prints=("A/R01/v1", "B/R01/v1"), rate="18")
SEEN = RegionCompared(decision=LEFT, version="A/R01/v1", compared=61, crops=some_digest("crops"))
CLOSED = ProductionClosed(export=some_digest("bag"), finals=("B/R01/v1",), files=160, size=2000)
OFFER = {"to": MENDER, "done": "to frame 800", "left": "the rest"}


@pytest.fixture(scope="module")
def told() -> Told:
    """A production in which every word has its place."""
    told = Told.founded(joined=("lisbon", MENDER), film=with_a_second_stage())
    told.say(pen(COORDINATOR), SiteInvited(site=NEWCOMER, invitation=pen(NEWCOMER, "invitation").public))
    told.say(pen("lisbon"), KeyReplaced(name="lisbon", key=REVOKED.public, reason="the laptop was lent"))
    told.say(REVOKED, KeyReplaced(name="lisbon", key=HOLDER.public, reason="the laptop was stolen"))
    told.say(HOLDER, *JOBS.values(), MADE)
    claims = [JobClaimed(job=job, lease=600) for job in (HELD, DONE, LAPSED)]
    assert told.say(HOLDER, *claims, JobClaimed(job=PERSONS, until=NOON)).sequence == EPOCH
    told.say(HOLDER, version("B/R01", 1), JobHandedIn(job=DONE, epoch=EPOCH, version="B/R01/v1"))
    told.say(pen(MENDER), receipt("B/R01/v1"), ClaimLapsed(job=LAPSED, epoch=EPOCH, silent=9999))
    told.say(HOLDER, HandOnOffered(job=PERSONS, epoch=EPOCH, **OFFER))
    while told.state.jobs[STOPPED].standing is not Standing.STOPPED:
        claimed = told.say(HOLDER, JobClaimed(job=STOPPED, lease=600))
        told.say(HOLDER, TryFailed(job=STOPPED, epoch=claimed.sequence, said="it burnt"))
    scan_twice(told)
    told.say(HOLDER, FolderNotSent(folder="holiday", why="it names no reel"))
    left = told.say(HOLDER, HAIR).sequence
    assert left == LEFT
    told.say(HOLDER, SEEN)
    assert told.say(pen(COORDINATOR), CLOSED).sequence == CLOSING
    assert told.say(HOLDER, COMPARED).sequence == SHOWN
    return told


@pytest.fixture(scope="module")
def heard(told: Told) -> History:
    """What a reader knows who read all that was told."""
    history = History(told.history.root)
    history.take_all(told.raws)
    return history


def with_a_second_stage() -> Production:
    film = production(reels=4)
    return film.model_copy(update={"route": (*film.route, Stage(name="clean", after=("scan",), of=("B/R04",)))})


def scan_twice(told: Told) -> None:
    """Scan B/R04, open what comes after it, return the scan, and scan it again."""
    told.say(HOLDER, JobOpened(job=TWICE, stage="scan", reel="B/R04"))
    scan(told, 1)
    told.say(HOLDER, JobOpened(job=RENEWED, stage="clean", reel="B/R04", inputs=("B/R04/v1",)))
    told.say(pen(COORDINATOR), JobReturned(job=TWICE, version="B/R04/v1", reasons="out of focus"))
    scan(told, 2)


def scan(told: Told, number: int) -> None:
    claimed = told.say(HOLDER, JobClaimed(job=TWICE, lease=600)).sequence
    made = version("B/R04", number)
    told.say(HOLDER, made, JobHandedIn(job=TWICE, epoch=claimed, version=made.version))
    told.say(pen(MENDER), receipt(made.version))


def receipt(name: str) -> ReceiptSigned:
    reel, _, number = name.rpartition("/v")
    return ReceiptSigned(version=name, manifest=version(reel, int(number)).manifest, whole=True)


WORKING = {"coordinator", "holder", "mender"}
RULING = {"root", "coordinator"}

WORDS_AND_RIGHTS: list[tuple[Word | tuple[Word, ...], set[str]]] = [
    (created(), set()),
    (ProductionRevised(production=production(elements="ABC", reels=4), reason="a print turned up"), RULING),
    (SiteInvited(site=NEWCOMER, invitation=pen(NEWCOMER, "another").public), RULING),
    (SiteJoined(site=NEWCOMER, key=pen(NEWCOMER).public), {"invited"}),
    (SiteRemoved(site=MENDER, reason="the line is closed"), RULING),
    (KeyReplaced(name=MENDER, key=pen(MENDER, "second").public, reason="lost"), RULING | {"mender"}),
    (version("A/R01", 2, parents=("A/R01/v1",)), WORKING),
    (receipt("A/R01/v1"), WORKING),
    (CopyChecked(version=MADE.version, manifest=MADE.manifest, place="bucket", outcome="whole"), WORKING),
    (
        VersionInspected(
            version=MADE.version, manifest=MADE.manifest, report=some_digest("report"), blocking=0, warning=1
        ),
        WORKING,
    ),
    (
        VersionConformed(
            version=MADE.version,
            manifest=MADE.manifest,
            cut_list=some_digest("list"),
            report=some_digest("report"),
            blocking=0,
            warning=0,
        ),
        WORKING,
    ),
    (
        VersionsAligned(one=MADE.version, other="B/R01/v1", frame_map=some_digest("map"), matched=1, sure=1, frames=2),
        WORKING,
    ),
    (VersionNotInspected(version=MADE.version, manifest=MADE.manifest, why="no libraries there"), WORKING),
    (MaterialKept(about="A", name="can.jpg", object=some_digest("can"), size=9), WORKING),
    (ObjectMended(object=some_digest("frame"), version=MADE.version), {"coordinator", "mender"}),
    (FolderNotSent(folder="holiday pictures", why="they name no reel"), WORKING),
    (FolderSettled(folder="holiday"), {"holder"}),
    (PlacePinned(one="A/R01", frame=12, other="B/R01", other_frame=10), WORKING),
    (COMPARED, WORKING),
    (
        ComparisonMade(asked=SHOWN, manifest=some_digest("movie"), size=9, steps=3, shown=("A/R01/v1", "B/R01/v1")),
        WORKING,
    ),
    (ComparisonNotMade(asked=SHOWN, why="a frame cannot be decoded"), WORKING),
    (DecisionMade(place=Place(about="A"), verdict="preferred", because="the better tone"), WORKING),
    (SEEN, WORKING),
    (RegionJudged(decision=LEFT, version="A/R01/v1", stands=True), WORKING),
    (CLOSED, {"coordinator"}),
    (VersionsRetired(closing=CLOSING, versions=("A/R01/v1",), reason="exported and checked"), {"coordinator"}),
    (JobOpened(job="scan/A/R04/1", stage="scan", reel="A/R04"), WORKING),
    (InputsRenewed(job=RENEWED, inputs=("B/R04/v2",)), WORKING),
    (JobClaimed(job=FREE, lease=600), WORKING),
    (ClaimExtended(job=PERSONS, epoch=EPOCH, until=NEXT_WEEK), {"holder"}),
    (ClaimReleased(job=PERSONS, epoch=EPOCH), {"holder"}),
    (ClaimLapsed(job=HELD, epoch=EPOCH, silent=9999), WORKING),
    (ClaimReassigned(job=PERSONS, epoch=EPOCH, reason="ill"), {"coordinator"}),
    (SiteAsked(job=FREE, reason="ill"), {"coordinator"}),
    (SiteExpected(job="scan/A/R04/1", reason="whoever comes first"), {"coordinator"}),
    (HandOnOffered(job=PERSONS, epoch=EPOCH, **OFFER), {"holder"}),
    (HandOnTaken(job=PERSONS, epoch=EPOCH, until=NEXT_WEEK), {"mender"}),
    (HandOnDeclined(job=PERSONS, epoch=EPOCH, reason="no hands"), {"mender", "holder"}),
    ((version("A/R02", 1), JobHandedIn(job=HELD, epoch=EPOCH, version="A/R02/v1")), {"holder"}),
    ((version("B/R02", 1), WorkCameLate(job=LAPSED, epoch=EPOCH, version="B/R02/v1")), {"holder"}),
    (TryFailed(job=HELD, epoch=EPOCH, said="it burnt"), {"holder"}),
    (JobRestarted(job=STOPPED, reason="put out"), {"coordinator"}),
    (JobAccepted(job=DONE, version="B/R01/v1"), {"coordinator"}),
    (JobReturned(job=DONE, version="B/R01/v1", reasons="too dark"), {"coordinator"}),
    (JobWithdrawn(job=FREE, reason="not wanted"), {"coordinator"}),
]
RIGHTS = {
    words[-1].word: (words, rightful)
    for said, rightful in WORDS_AND_RIGHTS
    for words in [said if isinstance(said, tuple) else (said,)]
}


def test_every_word_has_its_row() -> None:
    schema = WORDS.json_schema()
    assert set(RIGHTS) == set(schema["discriminator"]["mapping"])


@pytest.mark.parametrize("who", SIGNERS)
@pytest.mark.parametrize("word", RIGHTS)
def test_a_word_is_taken_from_those_who_may_say_it_and_from_nobody_else(told: Told, word: str, who: str) -> None:
    words, rightful = RIGHTS[word]
    assert told.may(SIGNERS[who], *words) == (who in rightful)


@pytest.mark.parametrize("who", SIGNERS)
@pytest.mark.parametrize("word", RIGHTS)
def test_a_reader_stops_at_what_a_writer_would_not_write(told: Told, heard: History, word: str, who: str) -> None:
    words, rightful = RIGHTS[word]
    raw = told.written(SIGNERS[who], *words)
    reader = History(told.history.root)
    reader.state = heard.state.draft()
    if who in rightful:
        reader.take(raw)
    else:
        with pytest.raises(BrokenError, match=rf"^entry {len(told.raws)}\b"):
            reader.take(raw)
    assert heard.state.projection() == told.state.projection()


@pytest.mark.parametrize("who", ["root", "coordinator", "holder", "mender"])
def test_a_name_does_not_sign_with_another_name_s_key(told: Told, who: str) -> None:
    for name in {"root", COORDINATOR, "lisbon", MENDER, NEWCOMER} - {SIGNERS[who].name}:
        disguised = Pen(name, SIGNERS[who].private)
        for words, _ in RIGHTS.values():
            assert not told.may(disguised, *words)
