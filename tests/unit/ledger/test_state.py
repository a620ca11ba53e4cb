import json
import random

import pytest

from relay.errors import BrokenError, MissingError, RefusedError
from relay.ledger import rules
from relay.ledger.entry import read_entry
from relay.ledger.history import History
from relay.ledger.job_words import ClaimLapsed, JobClaimed, JobHandedIn, JobOpened
from relay.ledger.state import State
from relay.ledger.words import KeyReplaced, ObjectMended, SiteRemoved, Word
from tests.unit.ledger.scene import COORDINATOR, SITES, Told, longer, pen, some_digest, version


@pytest.fixture(scope="module")
def told() -> Told:
    return longer(Told.founded(), 40, seed=3)


def folded(state: State, told: Told, *words: Word, by: str = "lisbon") -> None:
    rules.fold(state, read_entry(told.written(pen(by), *words), len(told.raws)))


JOB, OTHER = "scan/A/R01/1", "scan/A/R02/1"


def everything(state: State, told: Told) -> None:
    """Fold a word of each kind that changes something in the state."""
    number = told.state.newest.get("A/R01", 0) + 1
    last = f"A/R01/v{number + 1}"
    folded(
        state,
        told,
        version("A/R01", number),
        JobOpened(job=JOB, stage="scan", reel="A/R01"),
        JobOpened(job=OTHER, stage="scan", reel="A/R02"),
        JobClaimed(job=JOB, lease=60),
        JobClaimed(job=OTHER, lease=60),
    )
    mended = ObjectMended(object=some_digest("x"), version="A/R01/v1")
    folded(state, told, mended, ClaimLapsed(job=OTHER, epoch=len(told.raws), silent=9999), by=COORDINATOR)
    folded(state, told, version("A/R01", number + 1), JobHandedIn(job=JOB, epoch=len(told.raws), version=last))
    folded(state, told, KeyReplaced(name="lisbon", key=pen("lisbon", "b").public, reason="lost"))
    folded(state, told, SiteRemoved(site="kolkata", reason="closed"), by=COORDINATOR)


def test_a_draft_sees_the_state_and_never_leaks_into_it(told: Told) -> None:
    before = told.state.projection()
    draft = told.state.draft()
    assert draft.projection() == before
    everything(draft, told)
    assert draft.projection() != before
    assert told.state.projection() == before
    assert draft.jobs[JOB].outcome is not None


def test_a_draft_of_a_draft_never_leaks_either(told: Told) -> None:
    draft = told.state.draft()
    folded(draft, told, version("A/R02", draft.newest.get("A/R02", 0) + 1))
    before = draft.projection()
    everything(draft.draft(), told)
    assert draft.projection() == before


def test_a_draft_whose_entry_was_refused_half_way_leaves_no_trace(told: Told) -> None:
    before = told.state.projection()
    with pytest.raises(RefusedError):
        folded(told.state.draft(), told, version("A/R01", told.state.newest["A/R01"] + 1), version("A/R01", 999))
    assert told.state.projection() == before


def test_a_draft_says_the_same_as_the_state_that_took_the_same_entries(told: Told) -> None:
    draft, plain = told.state.draft(), History(told.history.root).take_all(told.raws)
    everything(draft, told)
    everything(plain, told)
    assert draft.projection() == plain.projection()


def test_all_who_read_the_same_entries_have_the_same_projection_byte_for_byte(told: Told) -> None:
    again = History(told.history.root).take_all(told.raws)
    unchecked = History(told.history.root).take_all(told.raws, checked_before=True)
    assert told.state.projection() == again.projection() == unchecked.projection()
    assert json.loads(told.state.projection())["sequence"] == len(told.raws) - 1


def test_each_entry_changes_the_projection(told: Told) -> None:
    history, seen = History(told.history.root), set()
    for raw in told.raws:
        history.take(raw)
        seen.add(history.state.projection())
    assert len(seen) == len(told.raws)


def test_what_a_person_names_is_found_or_said_to_be_missing(told: Told) -> None:
    state = told.state
    assert state.version("A/R01").name == f"A/R01/v{state.newest['A/R01']}"
    assert state.version("A/R01/v1").name == "A/R01/v1"
    for text in ("A/R9", "A/R01/v999"):
        with pytest.raises(MissingError):
            state.version(text)
    for text in ("A", "A/R01/v0", "", "A/R01/v1/x"):
        with pytest.raises(RefusedError):
            state.version(text)
    fresh = Told.founded().state
    with pytest.raises(MissingError, match="no version yet"):
        fresh.version("A/R01")
    with pytest.raises(MissingError, match="create the production first"):
        State().version("A/R01")


def test_the_roster_knows_who_can_sign(told: Told) -> None:
    assert all(told.state.has_joined(site) for site in SITES)
    assert not told.state.has_joined("root")
    assert not Told.founded(joined=()).state.has_joined("lisbon")


@pytest.mark.parametrize("seed", range(8))
def test_an_entry_moved_anywhere_else_is_refused(told: Told, seed: int) -> None:
    chance = random.Random(seed)
    here, there = sorted(chance.sample(range(len(told.raws)), 2))
    moved = list(told.raws)
    moved.insert(there, moved.pop(here))
    with pytest.raises(BrokenError, match=rf"^entry {here}\b"):
        History(told.history.root).take_all(moved)
