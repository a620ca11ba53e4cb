"""A tampered ledger is refused and the entry named; a tampered bundle is neither believed nor in anybody's way."""

import re
import shutil
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from relay.errors import BrokenError, RefusedError
from relay.ledger import history, ledger, reading, rules
from relay.ledger.copy import LocalCopy
from relay.ledger.history import History
from relay.store.keys import entry_key
from tests.faults.ledger.tampering import BUNDLE, WAYS, Case, tampered
from tests.unit.ledger.rig import OpenStore, opened

IN_A_NORMAL_RUN = 300
IN_A_SOAK = 10_000
"""12 and 400 of each of the 25 ways."""


@pytest.fixture(autouse=True)
def short_bundles(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (reading, ledger):
        monkeypatch.setattr(module, "BUNDLE", BUNDLE)


@pytest.fixture
def home() -> Iterator[Path]:
    """A folder in memory, where the machine has one: ten thousand cases sync ten thousand heads."""
    memory = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(prefix="relay-", dir=memory if memory.is_dir() else None))
    yield folder
    shutil.rmtree(folder)


def verdict(case: Case, home: Path) -> str:
    """Return what the reader said: the message of a BrokenError, `read on` or `believed something else`."""
    shutil.rmtree(home / "site", ignore_errors=True)
    LocalCopy(home / "site").keep(case.raws[: case.seen])
    store = OpenStore()
    store.objects.update(case.objects)
    reader = opened(store, home / "site")
    before = reader.state.projection()
    try:
        state = reader.follow()
    except BrokenError as error:
        assert reader.state.projection() == before, "a refused history left something behind"
        return str(error)
    honest = History().take_all(case.raws, checked_before=True)
    return "read on" if state.projection() == honest.projection() else "believed something else"


def names(message: str, entry: int) -> bool:
    return re.search(rf"\bentry {entry}\b|{entry_key(entry)}", message) is not None


def accepted(seeds: range, home: Path) -> Counter[str]:
    """Return how many cases of each way were not caught."""
    slipped: Counter[str] = Counter()
    for seed in seeds:
        way, case = tampered(seed)
        said = verdict(case, home)
        caught = said == "read on" if case.named is None else names(said, case.named)
        slipped[way] += not caught
    return +slipped


def test_no_tampered_ledger_is_accepted_and_the_entry_is_named(home: Path) -> None:
    assert accepted(range(IN_A_NORMAL_RUN), home) == Counter()


@pytest.mark.soak
@pytest.mark.timeout(3600)
def test_no_tampered_ledger_is_accepted_in_ten_thousand_cases(home: Path) -> None:
    assert accepted(range(IN_A_SOAK), home) == Counter()


def test_the_honest_ledgers_behind_the_cases_are_read(home: Path) -> None:
    for seed in range(48):
        _, case = tampered(seed)
        untouched = Case(case.raws, {entry_key(slot): raw for slot, raw in enumerate(case.raws)}, case.seen, None)
        assert verdict(untouched, home) == "read on"


def nothing(*_args: object, **_more: object) -> None:
    """A guard that guards nothing."""


def forgiving_fold(state, entry) -> None:  # type: ignore[no-untyped-def]
    for word in entry.body.words:
        try:
            saying = rules.Saying(entry.sequence, entry.body.key, rules._signer(state, word, entry), entry.body.time)
            rules._fold_word(state, word, saying)
        except RefusedError:
            pass
    state.sequence, state.digest = entry.sequence, entry.digest


def without_roster(state, word, entry):  # type: ignore[no-untyped-def]
    found = state.roster.get(entry.body.key)
    return found or rules.Signer(entry.body.by, rules.Role.SITE, "", 0)


def unpinned(store, start, end):  # type: ignore[no-untyped-def]
    firsts = range(start - start % BUNDLE, end, BUNDLE)
    bundles = {first: reading._bundle(store, first) for first in firsts}
    return {slot: raw for first in firsts for slot, raw in enumerate(bundles[first], first) if start <= slot < end}


GUARDS = {
    "the chain": (history, "check_place", nothing),
    "the signature": (history, "check_signature", nothing),
    "one canonical form": (history, "is_canonical", lambda _entry: True),
    "the rules": (rules, "fold", forgiving_fold),
    "keys that stopped counting": (rules, "_signer", without_roster),
    "the memory of the head": (ledger, "check_same", nothing),
    "bundles pinned by an entry in its own place": (reading, "_bundled", unpinned),
    "reading again without bundles": (ledger.Ledger, "_take_fresh", ledger.Ledger._take),
}


@pytest.mark.parametrize("guard", GUARDS)
def test_without_this_guard_something_slips_through(guard: str, home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(*GUARDS[guard])
    assert any(accepted(range(first, first + len(WAYS)), home) for first in range(0, 10 * len(WAYS), len(WAYS)))


def test_without_the_pinned_root_a_forged_production_is_believed(home: Path) -> None:
    way, case = tampered(next(index for index, way in enumerate(WAYS) if way.__name__ == "wrong_root"))
    store = OpenStore()
    store.objects.update(case.objects)
    assert way == "wrong_root"
    assert opened(store, home / "a", root=None).follow().production is not None
    with pytest.raises(BrokenError, match="entry 0"):
        opened(store, home / "b").follow()
