from collections.abc import Callable
from pathlib import Path

import pytest

from relay.errors import BrokenError, LostRaceError, MissingError, RefusedError, TransientError
from relay.ledger.ledger import PATIENCE
from relay.ledger.reading import BUNDLE
from relay.ledger.words import KeyReplaced, SiteInvited, VersionMade
from relay.model import Digest
from relay.store.directory import DirectoryStore
from relay.store.keys import bundle_key, entry_key
from tests.unit.ledger.rig import OpenStore, opened
from tests.unit.ledger.scene import COORDINATOR, Told, longer, pen, version

LISBON = pen("lisbon")


@pytest.fixture(scope="module")
def told() -> Told:
    return longer(Told.founded(), 20, seed=5)


def sending(note: str) -> Callable[..., list[VersionMade] | None]:
    """Return a decision to send B/R01 once, looking first whether that was said."""

    def decide(state, _now):  # type: ignore[no-untyped-def]
        if any(made.note == note for made in state.versions.values()):
            return None
        return [version("B/R01", state.newest.get("B/R01", 0) + 1, note=note)]

    return decide


def notes(store: OpenStore, tmp_path: Path, note: str) -> int:
    """Return how often the ledger says `note`, as a new reader sees it."""
    state = opened(store, tmp_path / "new reader").follow()
    return sum(made.note == note for made in state.versions.values())


def test_a_new_reader_a_returning_one_and_one_that_stayed_see_the_same(tmp_path: Path, told: Told) -> None:
    store = OpenStore(told)
    stayed = opened(store, tmp_path / "a")
    stayed.follow()
    more = longer(Told.founded(), 20, seed=5)
    store.objects[entry_key(len(told.raws))] = more.written(LISBON, version("A/R03", more.state.newest["A/R03"] + 1))
    returning = opened(store, tmp_path / "a")
    assert returning.state.projection() == told.state.projection()
    projections = {each.follow().projection() for each in (stayed, returning, opened(store, tmp_path / "b"))}
    assert len(projections) == 1
    assert stayed.entries() == [*told.raws, store.objects[entry_key(len(told.raws))]]


def test_an_appended_entry_is_what_every_reader_reads(tmp_path: Path, told: Told) -> None:
    store = OpenStore(told)
    entry = opened(store, tmp_path / "a").append(LISBON, sending("x"))
    assert entry is not None
    assert store.objects[entry_key(len(told.raws))] == entry.raw
    assert notes(store, tmp_path, "x") == 1


def test_saying_it_again_says_nothing(tmp_path: Path, told: Told) -> None:
    store = OpenStore(told)
    for _ in range(10):
        opened(store, tmp_path / "a").append(LISBON, sending("x"))
    assert notes(store, tmp_path, "x") == 1
    with pytest.raises(LostRaceError, match="nothing left to say"):
        opened(store, tmp_path / "a").insist(LISBON, sending("x"))


def test_what_the_rules_refuse_is_never_written(tmp_path: Path, told: Told) -> None:
    store = OpenStore(told)
    ledger = opened(store, tmp_path)
    before = dict(store.objects)
    for word in (version("B/R01", 99), SiteInvited(site="lisbon", invitation=pen("x").public)):
        with pytest.raises(RefusedError):
            ledger.append(LISBON, lambda _state, _now, word=word: [word])
    assert store.objects == before
    assert ledger.state.projection() == told.state.projection()


def test_who_lost_looks_at_what_came_between_and_decides_again(tmp_path: Path, told: Told) -> None:
    """Another writer takes the place after we have looked and before we write."""
    store = OpenStore(told)
    other = opened(store, tmp_path / "other")
    seen = []

    def decide(state, now):  # type: ignore[no-untyped-def]
        seen.append(state.sequence)
        if len(seen) <= 3:
            other.append(pen("kolkata"), sending(f"between {len(seen)}"))
        return sending("x")(state, now)

    ledger = opened(store, tmp_path / "a")
    entry = ledger.append(LISBON, decide)
    assert entry is not None
    assert seen == [len(told.raws) - 1 + lost for lost in range(4)]
    assert [made.note for made in ledger.state.of_reel("B/R01")[-4:]] == ["between 1", "between 2", "between 3", "x"]
    assert ledger._clock.ticks() > 0, "a writer that lost waits before it tries again"


class Answering(OpenStore):
    """Each create is answered by the next of `faults`, until there are no more."""

    def __init__(self, told: Told, *faults: str) -> None:
        super().__init__(told)
        self.faults = list(faults)
        self.late: list[tuple[str, bytes]] = []

    def create(self, key: str, body: bytes, digest: Digest) -> bool:  # type: ignore[override]
        fault = self.faults.pop(0) if self.faults else ""
        match fault:
            case "lost":
                self.asked.append(("create", key))
                raise TransientError("the request was lost")
            case "answer lost":
                super().create(key, body, digest)
                raise TransientError("the answer was lost")
            case "echo":
                super().create(key, body, digest)
                return super().create(key, body, digest)
            case "late":
                self.late.append((key, body))
                raise TransientError("no answer came")
            case "ghost":
                return False
            case "denied":
                raise RefusedError("this key may not write")
        return super().create(key, body, digest)

    def land(self) -> None:
        for key, body in self.late:
            self.objects.setdefault(key, body)


@pytest.mark.parametrize(
    "faults",
    [
        ("lost",),
        ("answer lost",),
        ("echo",),
        ("ghost",),
        ("lost", "answer lost", "echo"),
        ("answer lost", "lost", "lost"),
        ("lost",) * 20 + ("echo",),
        ("late", "lost"),
    ],
)
def test_whatever_answer_is_lost_it_is_said_once_and_we_know_that_it_was_us(
    tmp_path: Path, told: Told, faults: tuple[str, ...]
) -> None:
    store = Answering(told, *faults)
    entry = opened(store, tmp_path / "a").append(LISBON, sending("x"))
    store.land()
    assert entry is not None
    assert store.objects[entry_key(entry.sequence)] == entry.raw
    assert notes(store, tmp_path, "x") == 1


def test_the_same_bytes_go_to_the_same_place_until_the_answer_is_known(tmp_path: Path, told: Told) -> None:
    store = Answering(told, "lost", "late", "lost", "late")
    opened(store, tmp_path).append(LISBON, sending("x"))
    assert {key for what, key in store.asked if what == "create"} == {entry_key(len(told.raws))}
    assert len({body for _, body in store.late}) == 1
    assert store.late[0][1] == store.objects[entry_key(len(told.raws))]


def test_a_store_that_stays_away_is_said_to_be_unknown_and_the_next_try_finds_out(tmp_path: Path, told: Told) -> None:
    store = Answering(told, "late", *["lost"] * 5000)
    ledger = opened(store, tmp_path / "a")
    with pytest.raises(TransientError, match="may still land"):
        ledger.append(LISBON, sending("x"))
    assert PATIENCE <= ledger._clock.ticks() <= PATIENCE + 3
    store.faults.clear()
    store.land()
    assert ledger.append(LISBON, sending("x")) is None
    assert notes(store, tmp_path, "x") == 1


def test_a_write_that_lands_after_its_writer_gave_up_and_tried_anew_is_not_said_twice(
    tmp_path: Path, told: Told
) -> None:
    store = Answering(told, "late", *["lost"] * 5000)
    with pytest.raises(TransientError):
        opened(store, tmp_path / "a").append(LISBON, sending("x"))
    store.faults.clear()
    assert opened(store, tmp_path / "a").append(LISBON, sending("x")) is not None
    store.land()
    assert notes(store, tmp_path, "x") == 1


def test_a_store_that_denies_is_not_asked_again(tmp_path: Path, told: Told) -> None:
    store = Answering(told, "denied", "denied")
    with pytest.raises(RefusedError, match="may not write"):
        opened(store, tmp_path).append(LISBON, sending("x"))
    assert store.faults == ["denied"]


def test_a_place_whose_entry_was_deleted_is_not_written_to(tmp_path: Path, told: Told) -> None:
    """The site saw all up to before that place: only what lies behind it tells."""
    store = OpenStore(told)
    gone = len(told.raws) - 3
    behind = {entry_key(slot): store.objects.pop(entry_key(slot)) for slot in range(gone, len(told.raws))}
    ledger = opened(store, tmp_path)
    ledger.follow()
    store.objects.update(behind)
    del store.objects[entry_key(gone)]
    with pytest.raises(BrokenError, match=f"^entry {gone} is not in"):
        ledger.append(LISBON, sending("x"))
    assert entry_key(gone) not in store.objects
    store.objects[entry_key(gone)] = behind[entry_key(gone)]
    assert ledger.append(LISBON, sending("x")) is not None


def test_an_entry_that_was_refused_half_way_leaves_no_trace_in_the_state(tmp_path: Path, told: Told) -> None:
    """Its first word may be said, its second may not; then the bucket shows an honest entry in that place."""
    store = OpenStore(told)
    ledger = opened(store, tmp_path / "a")
    ledger.follow()
    before = ledger.state.projection()
    place = entry_key(len(told.raws))
    first = version("B/R01", told.state.newest.get("B/R01", 0) + 1)
    key = KeyReplaced(name=COORDINATOR, key=pen("x").public, reason="mine")
    store.objects[place] = told.written(LISBON, first, key)
    for _ in range(3):
        with pytest.raises(BrokenError, match=f"^entry {len(told.raws)} says what its signer may not say"):
            ledger.follow()
        assert ledger.state.projection() == before
    store.objects[place] = told.written(LISBON, first)
    assert ledger.follow().projection() == opened(store, tmp_path / "b").follow().projection()


def test_a_damaged_copy_is_read_anew_and_the_head_memory_still_catches_a_rollback(tmp_path: Path, told: Told) -> None:
    store = OpenStore(told)
    opened(store, tmp_path).follow()
    entries = tmp_path / "entries"
    whole = entries.read_bytes()
    for at in range(7, len(whole), 997):
        entries.write_bytes(whole[:at] + bytes([whole[at] ^ 4]) + whole[at + 1 :])
        assert opened(store, tmp_path).follow().projection() == told.state.projection()
        assert entries.read_bytes() == whole
    entries.write_bytes(whole[:100])
    del store.objects[entry_key(len(told.raws) - 1)]
    with pytest.raises(BrokenError, match=f"no longer shows entry {len(told.raws) - 1}"):
        opened(store, tmp_path).follow()


def test_a_drive_that_is_not_connected_is_missing_and_no_rollback(tmp_path: Path, told: Told) -> None:
    store = DirectoryStore.founded(tmp_path / "drive")
    for slot, raw in enumerate(told.raws):
        store.create(entry_key(slot), raw, told.state.digest)
    opened(store, tmp_path / "site").follow()
    (tmp_path / "drive").rename(tmp_path / "unplugged")
    for home in ("site", "new site"):
        with pytest.raises(MissingError, match="drive"):
            opened(store, tmp_path / home).follow()


def test_the_head_is_remembered_before_anybody_acts_on_it(tmp_path: Path, told: Told) -> None:
    store = OpenStore(told)
    ledger = opened(store, tmp_path)

    def decide(state, _now):  # type: ignore[no-untyped-def]
        assert opened(store, tmp_path).state.sequence == state.sequence
        return sending("x")(state, _now)

    entry = ledger.append(LISBON, decide)
    assert entry is not None
    assert opened(store, tmp_path).state.sequence == entry.sequence


def test_an_empty_bucket_is_an_empty_ledger_and_not_an_error(tmp_path: Path) -> None:
    assert opened(OpenStore(), tmp_path).follow().sequence == -1


class Unbundled(OpenStore):
    """Takes entries and nothing else."""

    def create(self, key: str, body: bytes, digest: Digest) -> bool:  # type: ignore[override]
        if key.startswith("bundles/"):
            raise MissingError("no room for bundles")
        return super().create(key, body, digest)


@pytest.mark.parametrize("kind", [OpenStore, Unbundled])
def test_every_256th_entry_leaves_a_bundle_which_nobody_needs(tmp_path: Path, kind: type[OpenStore]) -> None:
    store = kind(longer(Told.founded(), BUNDLE - 9))
    ledger = opened(store, tmp_path / "a")
    for number in range(3):
        assert ledger.append(LISBON, sending(f"x{number}")) is not None
    bundled = store.objects.pop(bundle_key(0, BUNDLE), None)
    if kind is OpenStore:
        assert bundled == b"".join(ledger.entries()[:BUNDLE])
    assert notes(store, tmp_path, "x0") == 1
