"""Every word, and every kind of key that might say it."""

import pytest

from relay.errors import BrokenError
from relay.ledger.job_words import ClaimLapsed, JobClaimed, JobHandedIn, JobOpened
from relay.ledger.keys import Pen
from relay.ledger.words import (
    WORDS,
    KeyReplaced,
    ObjectMended,
    ProductionRevised,
    ReceiptSigned,
    SiteInvited,
    SiteJoined,
    SiteRemoved,
    Word,
)
from tests.unit.ledger.scene import COORDINATOR, MENDER, Told, created, pen, production, some_digest, version

NEWCOMER = "kolkata"  # invited, not joined
REVOKED = pen("lisbon", "stolen")
STRANGER = pen("lisbon", "nobody's")
SIGNERS: dict[str, Pen] = {
    "root": pen("root"),
    "coordinator": pen(COORDINATOR),
    "holder": pen("lisbon"),
    "mender": pen(MENDER),
    "invited": pen(NEWCOMER, "invitation"),
    "revoked": REVOKED,
    "stranger": STRANGER,
}

MADE = version("A/R01", 1)
OPENED = JobOpened(job="scan/A/R02/1", stage="scan", reel="A/R02")
HELD = JobOpened(job="scan/A/R03/1", stage="scan", reel="A/R03")
EPOCH = 8


@pytest.fixture(scope="module")
def told() -> Told:
    """A production in which every word has its place: a version, a free job, and one that lisbon holds."""
    told = Told.founded(joined=("lisbon", MENDER))
    told.say(pen(COORDINATOR), SiteInvited(site=NEWCOMER, invitation=pen(NEWCOMER, "invitation").public))
    told.say(pen("lisbon"), KeyReplaced(name="lisbon", key=REVOKED.public, reason="the laptop was lent"))
    told.say(REVOKED, KeyReplaced(name="lisbon", key=pen("lisbon", "second").public, reason="the laptop was stolen"))
    SIGNERS["holder"] = pen("lisbon", "second")
    claimed = told.say(SIGNERS["holder"], MADE, OPENED, HELD, JobClaimed(job=HELD.job, lease=600))
    assert claimed.sequence == EPOCH
    return told


WORKING = {"coordinator", "holder", "mender"}
RULING = {"root", "coordinator"}

RIGHTS: dict[str, tuple[tuple[Word, ...], set[str]]] = {
    "production-created": ((created(),), set()),
    "production-revised": (
        (ProductionRevised(production=production(elements="ABC"), reason="a print turned up"),),
        RULING,
    ),
    "site-invited": ((SiteInvited(site=NEWCOMER, invitation=pen(NEWCOMER, "another").public),), RULING),
    "site-joined": ((SiteJoined(site=NEWCOMER, key=pen(NEWCOMER).public),), {"invited"}),
    "site-removed": ((SiteRemoved(site=MENDER, reason="the line is closed"),), RULING),
    "key-replaced": (
        (KeyReplaced(name=MENDER, key=pen(MENDER, "second").public, reason="lost"),),
        RULING | {"mender"},
    ),
    "version-made": ((version("A/R01", 2, parents=("A/R01/v1",)),), WORKING),
    "receipt-signed": ((ReceiptSigned(version=MADE.version, manifest=MADE.manifest, whole=True),), WORKING),
    "object-mended": (
        (ObjectMended(object=some_digest("frame"), version=MADE.version),),
        {"coordinator", "mender"},
    ),
    "job-opened": ((JobOpened(job="grade/A/R01/1", stage="grade", reel="A/R01", inputs=("A/R01/v1",)),), WORKING),
    "job-claimed": ((JobClaimed(job=OPENED.job, lease=600),), WORKING),
    "claim-lapsed": ((ClaimLapsed(job=HELD.job, epoch=EPOCH),), WORKING),
    "job-handed-in": (
        (version("A/R03", 1), JobHandedIn(job=HELD.job, epoch=EPOCH, version="A/R03/v1")),
        {"holder"},
    ),
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
def test_a_reader_stops_at_what_a_writer_would_not_write(told: Told, word: str, who: str) -> None:
    words, rightful = RIGHTS[word]
    raw = told.written(SIGNERS[who], *words)
    reader = Told(told.history.root)
    for earlier in told.raws:
        reader.take(earlier)
    if who in rightful:
        reader.take(raw)
        return
    with pytest.raises(BrokenError, match=rf"^entry {EPOCH + 1}\b"):
        reader.take(raw)
    assert reader.state.projection() == told.state.projection()


@pytest.mark.parametrize("who", ["root", "coordinator", "holder", "mender"])
def test_a_name_does_not_sign_with_another_name_s_key(told: Told, who: str) -> None:
    for name in {"root", COORDINATOR, "lisbon", MENDER, NEWCOMER} - {SIGNERS[who].name}:
        disguised = Pen(name, SIGNERS[who].private)
        for words, _ in RIGHTS.values():
            assert not told.may(disguised, *words)
