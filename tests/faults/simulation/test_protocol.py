"""The append protocol under a storm of faults and kills, and wrong protocols that the same storm gives away.

The figures of a whole soak are kept in docs/results/.
"""

import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from typing import Self

import pytest

pytest.importorskip("greenlet", reason="the simulation gives turns to greenlets: pip install greenlet")

from relay.ledger import history, reading
from relay.ledger.entry import Entry
from relay.ledger.history import History
from relay.ledger.state import State
from tests.faults.simulation import mutants
from tests.faults.simulation.simulation import BrokenInvariantError, Outcome, Simulation, homes
from tests.faults.simulation.workers import House

A_QUARTER = 125 if os.environ.get("CI") == "true" else 25
"""Seeds; four quarters make a normal run."""
BLOCKS = 20
IN_A_BLOCK = 500
KILLS_A_SEED = 20
WITH_FILES = 10
"""Every tenth seed keeps the sites' copies in files; the others do in memory."""
WITHOUT_MEMORY = 7
"""Every seventh seed reads and verifies each entry as often as it is read; the others remember it."""


class InTurn:
    """Stands in for a pool of threads: greenlets take turns within one."""

    def __init__(self, threads: int) -> None:
        self.threads = threads

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Nobody is left to wait for."""

    def map(self, what: Callable, *of: Iterable) -> Iterator:
        return iter([what(*each) for each in zip(*of, strict=True)])


@pytest.fixture(autouse=True)
def one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "ThreadPoolExecutor", InTurn)


REMEMBERED = 20_000
COPIES_REMEMBERED = 500
PURE = ("read_entry", "is_signed", "is_canonical")


def by_its_bytes(answers: Callable[[Entry], bool]) -> Callable[[Entry], bool]:
    """Remember what was answered of an entry, which cannot be hashed itself: a production holds tables."""
    known: dict[bytes, bool] = {}

    def answered(entry: Entry) -> bool:
        if entry.raw not in known:
            if len(known) >= REMEMBERED:
                known.clear()
            known[entry.raw] = answers(entry)
        return known[entry.raw]

    return answered


def by_all_its_bytes(take_all: Callable[..., State]) -> Callable[..., State]:
    """Remember what a site that starts again makes of its own copy, by every byte of it, and of nothing else."""
    known: dict[tuple[bytes, ...], State] = {}

    def taken(self: History, raws: Iterable[bytes], *, checked_before: bool = False) -> State:
        if not checked_before:
            return take_all(self, raws)
        if len(known) >= COPIES_REMEMBERED:
            known.clear()
        copy = tuple(raws)
        start = next((end for end in range(len(copy), 0, -1) if copy[:end] in known), 0)
        if start:
            self.state = known[copy[:start]].still()
        for end in range(start, len(copy)):
            take_all(self, copy[end : end + 1], checked_before=True)
            known[copy[: end + 1]] = self.state.still()
        return self.state

    return taken


@pytest.fixture
def remembering(monkeypatch: pytest.MonkeyPatch) -> Callable[[bool], None]:
    """Remember what pure functions answered: every signature is verified once, and not once by every reader."""
    plain = {name: getattr(history, name) for name in PURE}
    kept = {name: lru_cache(maxsize=REMEMBERED)(function) for name, function in plain.items()}
    kept["is_canonical"] = by_its_bytes(plain["is_canonical"])
    takes_all = {False: History.take_all, True: by_all_its_bytes(History.take_all)}

    def remember(on: bool) -> None:
        for name in PURE:
            monkeypatch.setattr(history, name, (kept if on else plain)[name])
        monkeypatch.setattr(History, "take_all", takes_all[on])

    return remember


def outcome(seed: int, change: Callable[[House], None] = lambda _house: None) -> Outcome:
    with homes() as home:
        simulation = Simulation(seed, None if seed % WITH_FILES else home)
        change(simulation.house)
        return simulation.run()


def check_seeds(seeds: range, remembering: Callable[[bool], None]) -> Counter[str]:
    """Run `seeds` and return what happened in all. Raises naming the first seed in which something broke."""
    total: Counter[str] = Counter()
    for seed in seeds:
        remembering(seed % WITHOUT_MEMORY != 0)
        try:
            one = outcome(seed)
        except BrokenInvariantError as error:
            raise AssertionError(f"seed {seed}: {error}") from error
        total += Counter(seeds=1, kills=one.kills, entries=one.entries, lapsed=one.lapsed)
    return total


def check_block(block: int, seeds: int, remembering: Callable[[bool], None]) -> Counter[str]:
    total = check_seeds(range(block * seeds, (block + 1) * seeds), remembering)
    assert total["kills"] >= KILLS_A_SEED * seeds
    assert total["lapsed"] >= seeds
    return total


@pytest.mark.parametrize("quarter", range(4))
def test_no_storm_loses_doubles_or_divides_anything(quarter: int, remembering: Callable[[bool], None]) -> None:
    check_block(quarter, A_QUARTER, remembering)


@pytest.mark.soak
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("block", range(BLOCKS))
def test_no_storm_of_ten_thousand_loses_doubles_or_divides_anything(
    block: int, remembering: Callable[[bool], None], capsys: pytest.CaptureFixture[str]
) -> None:
    total = check_block(block, IN_A_BLOCK, remembering)
    with capsys.disabled():
        print(f"\nblock {block}: {dict(total)}")


def test_the_same_seed_gives_the_same_storm() -> None:
    assert outcome(7) == outcome(7)
    assert len({str(outcome(seed)) for seed in range(4)}) > 1


def using(kind: type) -> Callable[[House], None]:
    def change(house: House) -> None:
        house.ledger_kind = kind

    return change


def over(line: type) -> Callable[[House], None]:
    def change(house: House) -> None:
        house.line_kind = line

    return change


def never_sweeping(house: House) -> None:
    house.sweep = 1e9


MUTANTS: dict[str, Callable[[House], None]] = {
    "a place that is taken is not read back": using(mutants.TakenMeansLost),
    "the next place is tried after a timeout": using(mutants.GoesOn),
    "nothing there is taken for proof": using(mutants.NothingThereMeansNothingComes),
    "other bytes go to the same place": using(mutants.NewBytesForEachTry),
    "nobody sweeps": never_sweeping,
    "the store is not atomic": over(mutants.CheckThenWrite),
}

SEEDS_TO_CATCH = 12


def caught_at(change: Callable[[House], None]) -> int | None:
    """Return the first seed that gives a wrong protocol away."""
    for seed in range(SEEDS_TO_CATCH):
        try:
            outcome(seed, change)
        except BrokenInvariantError:
            return seed
    return None


@pytest.mark.parametrize("mutant", MUTANTS)
def test_a_protocol_without_this_rule_is_given_away(mutant: str, remembering: Callable[[bool], None]) -> None:
    remembering(True)
    assert caught_at(MUTANTS[mutant]) is not None


def test_rules_without_the_fence_of_epochs_are_given_away(
    monkeypatch: pytest.MonkeyPatch, remembering: Callable[[bool], None]
) -> None:
    remembering(True)
    for (module, name), unfenced in mutants.UNFENCED.items():
        monkeypatch.setattr(module, name, unfenced)
    assert caught_at(lambda _house: None) is not None
