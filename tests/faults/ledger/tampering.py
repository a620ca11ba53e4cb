"""Ways in which somebody with the run of the bucket, and perhaps with a site's key, can alter a ledger: seeded.

Each way takes an honest ledger, and says what lies in the bucket afterwards, what the reader saw before, and which
entry must be named. What nobody can notice is left out: a reader who never saw the newest entries cannot miss them.
"""

import base64
import random
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from relay.ledger.entry import read_entry
from relay.ledger.keys import Pen, key_id
from relay.ledger.words import (
    KeyReplaced,
    ProductionRevised,
    ReceiptSigned,
    SiteInvited,
    SiteJoined,
    SiteRemoved,
    Word,
)
from relay.store.keys import bundle_key, entry_key
from tests.unit.ledger.scene import COORDINATOR, Told, created, longer, pen, production, version

BUNDLE = 8
"""Entries in a bundle, in these tests: so that a short ledger has several."""

THIEF = pen("lisbon", "second")
"""A site of the production, with a key that counts, that means ill."""

RETIRED = (pen("lisbon"), pen("kolkata"), pen("halifax", "invitation"))
"""A key that was replaced, one whose site was removed, an invitation that was used."""


@dataclass(frozen=True)
class Case:
    """A tampered bucket and its reader, who remembers the first `seen` entries of the honest ledger."""

    raws: tuple[bytes, ...]
    objects: dict[str, bytes]
    seen: int
    named: int | None
    """The entry that must be named; None: the reader must read on as if nothing had happened."""


def in_places(raws: list[bytes]) -> dict[str, bytes]:
    return {entry_key(slot): raw for slot, raw in enumerate(raws)}


@lru_cache(maxsize=64)
def honest(seed: int) -> tuple[bytes, ...]:
    """Return a ledger in which keys were replaced and a site was removed."""
    chance = random.Random(seed)
    told = longer(Told.founded(), chance.randrange(6), seed)
    told.say(pen("lisbon"), KeyReplaced(name="lisbon", key=THIEF.public, reason="a new machine"))
    told.say(pen(COORDINATOR), SiteRemoved(site="kolkata", reason="closed for the season"))
    by = (pen(COORDINATOR), THIEF, pen("halifax"))
    for number in range(8 + chance.randrange(12)):
        told.say(chance.choice(by), version("B/R03", told.state.newest.get("B/R03", 0) + 1, note=f"{seed} {number}"))
    return tuple(told.raws)


def retold(raws: list[bytes]) -> Told:
    told = Told(key_id(pen("root").public))
    told.history.take_all(raws, checked_before=True)
    told.raws = list(raws)
    return told


def some_word(told: Told, chance: random.Random, note: str) -> Word:
    reel = chance.choice(("A/R01", "A/R02", "B/R01"))
    newest = told.state.newest.get(reel, 0)
    if newest and chance.random() < 0.5:
        made = told.state.version(reel)
        return ReceiptSigned(version=made.name, manifest=made.manifest, whole=True)
    return version(reel, newest + 1, note=note)


class Tamperer:
    """One seed's honest ledger, and the hands that alter it."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed * 7919 + 1)
        self.raws = list(honest(seed % 48))
        self.last = len(self.raws) - 1
        # Half of the readers are new; the others saw a part of the honest ledger, or all of it.
        self.seen = 0 if self.chance.random() < 0.5 else self.chance.randrange(1, len(self.raws) + 1)

    def case(self, raws: list[bytes], named: int | None, objects: dict[str, bytes] | None = None) -> Case:
        return Case(tuple(self.raws), in_places(raws) if objects is None else objects, self.seen, named)

    def place(self, last: int) -> int:
        """Return a place that the reader will look at: the last it saw, or one after it."""
        self.seen = min(self.seen, last + 1)
        return self.chance.randrange(max(0, self.seen - 1), last + 1)

    def next_entry(self, by: Pen, *words: Word, **other: object) -> Case:
        """Return the case of one more entry, written as it should be but for `other`, by someone who may not."""
        raw = retold(self.raws).written(by, *words, **other)
        return self.case([*self.raws, raw], len(self.raws))


def edited(at: Tamperer) -> Case:
    """Any bit of any entry."""
    slot = at.place(at.last)
    raw = bytearray(at.raws[slot])
    bit = at.chance.randrange(len(raw) * 8)
    raw[bit // 8] ^= 1 << bit % 8
    return at.case([*at.raws[:slot], bytes(raw), *at.raws[slot + 1 :]], slot)


def longer_or_shorter(at: Tamperer) -> Case:
    slot = at.place(at.last)
    raw, cut = at.raws[slot], at.chance.randrange(len(at.raws[slot]))
    extra = at.chance.randbytes(at.chance.randrange(1, 4))
    altered = at.chance.choice((raw[:cut], raw[cut:], raw[:cut] + extra + raw[cut:], raw + extra, raw * 2, b"\n\n"))
    if altered == raw:
        altered = b""
    return at.case([*at.raws[:slot], altered, *at.raws[slot + 1 :]], slot)


def deleted(at: Tamperer) -> Case:
    slot = at.place(at.last - 1)
    objects = in_places(at.raws)
    del objects[entry_key(slot)]
    return at.case([], slot, objects)


def closed_up(at: Tamperer) -> Case:
    """An entry is taken out, and those behind it move up."""
    slot = at.place(at.last - 1)
    return at.case(at.raws[:slot] + at.raws[slot + 1 :], slot)


def reordered(at: Tamperer) -> Case:
    here = at.place(at.last - 1)
    there = at.chance.randrange(here + 1, at.last + 1)
    raws = list(at.raws)
    raws[here], raws[there] = raws[there], raws[here]
    return at.case(raws, here)


def rolled_back(at: Tamperer) -> Case:
    at.seen = at.chance.randrange(1, len(at.raws) + 1)
    return at.case(at.raws[: at.chance.randrange(at.seen)], at.seen - 1)


def forked(at: Tamperer) -> Case:
    """A site writes its own history from a place on, well signed; whoever saw the other one notices."""
    joined = next(slot for slot, raw in enumerate(at.raws) if THIEF.public.encode() in raw)
    slot = at.chance.randrange(joined + 1, len(at.raws))
    fork = retold(at.raws[:slot])
    for number in range(at.chance.randrange(1, 6)):
        fork.say(THIEF, some_word(fork, at.chance, f"my own history {number}"))
    at.seen = at.chance.randrange(slot + 1, len(at.raws) + 1)
    return at.case(fork.raws, at.seen - 1)


def grafted(at: Tamperer) -> Case:
    """Some entries in the middle are replaced by others, well signed; what follows them is honest."""
    joined = next(slot for slot, raw in enumerate(at.raws) if THIEF.public.encode() in raw)
    slot = at.chance.randrange(joined + 1, at.last)
    count = at.chance.randrange(1, at.last - slot + 1)
    fork = retold(at.raws[:slot])
    for number in range(count):
        fork.say(THIEF, some_word(fork, at.chance, f"grafted {number}"))
    at.seen = at.chance.randrange(slot + 1)
    return at.case(fork.raws + at.raws[slot + count :], slot + count)


def replayed(at: Tamperer) -> Case:
    """An honest entry is copied to the end, or over another."""
    copied = at.chance.choice(at.raws)
    if at.chance.random() < 0.5:
        return at.case([*at.raws, copied], len(at.raws))
    slot = at.place(at.last)
    if copied == at.raws[slot]:
        copied = at.raws[slot - 1]
    return at.case([*at.raws[:slot], copied, *at.raws[slot + 1 :]], slot)


@lru_cache(maxsize=1)
def other_production() -> Told:
    """Another production with the same root, the same sites and the same keys."""
    return longer(Told.founded(film=production(name="other")), 60, seed=9)


def from_another_production(at: Tamperer) -> Case:
    if at.chance.random() < 0.5:
        slot = at.place(at.last)
        return at.case([*at.raws[:slot], other_production().raws[slot], *at.raws[slot + 1 :]], slot)
    return at.case([*at.raws, other_production().raws[len(at.raws)]], len(at.raws))


def wrong_root(at: Tamperer) -> Case:
    """The whole ledger is somebody else's, under the same names."""
    root = pen("root", "a forger's")
    forged = Told()
    forged.say(root, created().model_copy(update={"root": root.public}))
    at.seen = 0
    return at.case(forged.raws, 0)


def self_made_entry_0(at: Tamperer) -> Case:
    """Entry 0 names the true root and is signed by another key."""
    forged = Told().written(pen("root", "a forger's"), created())
    at.seen = 0
    return at.case([forged, *at.raws[1:]], 0)


def wrong_key(at: Tamperer) -> Case:
    """An entry names a key that counts, and another one signed it."""
    honest_raw = retold(at.raws).written(THIEF, some_word(retold(at.raws), at.chance, "forged"))
    signed = honest_raw.split(b"\n")[0] + b"\n"
    by = at.chance.choice((pen("halifax"), pen(COORDINATOR), pen("nobody"), *RETIRED))
    return at.case([*at.raws, signed + base64.b64encode(by.sign(signed)) + b"\n"], len(at.raws))


def borrowed_signature(at: Tamperer) -> Case:
    slot = at.place(at.last)
    lender = at.chance.choice([raw for raw in at.raws if raw != at.raws[slot]])
    altered = at.raws[slot].split(b"\n")[0] + b"\n" + lender.split(b"\n")[1] + b"\n"
    return at.case([*at.raws[:slot], altered, *at.raws[slot + 1 :]], slot)


def unknown_key(at: Tamperer) -> Case:
    return at.next_entry(pen("lisbon", "unknown"), version("A/R03", 1))


def retired_key(at: Tamperer) -> Case:
    by = at.chance.choice(RETIRED)
    words: list[Word] = [
        some_word(retold(at.raws), at.chance, "late"),
        KeyReplaced(name=by.name, key=by.public, reason="back again"),
        KeyReplaced(name=by.name, key=pen(by.name, "x").public, reason="back again"),
        SiteJoined(site=by.name, key=pen(by.name, "x").public),
    ]
    return at.next_entry(by, at.chance.choice(words))


def another_name(at: Tamperer) -> Case:
    name = at.chance.choice(("halifax", COORDINATOR, "root", "kolkata", "nobody"))
    return at.next_entry(Pen(name, THIEF.private), some_word(retold(at.raws), at.chance, "as another"))


def beyond_its_rights(at: Tamperer) -> Case:
    told = retold(at.raws)
    good = some_word(told, at.chance, "good")
    forbidden: list[Word] = [
        SiteInvited(site="kolkata", invitation=pen("kolkata", "x").public),
        SiteRemoved(site="halifax", reason="rivals"),
        ProductionRevised(production=production(elements="ABC"), reason="mine"),
        KeyReplaced(name="halifax", key=pen("x").public, reason="mine"),
        KeyReplaced(name=COORDINATOR, key=pen("x").public, reason="mine"),
        KeyReplaced(name="root", key=pen("x").public, reason="mine"),
        version("A/R01", told.state.newest.get("A/R01", 0) + at.chance.choice((3, 5))),
        version("B/R03", 1),
        version("Z/R01", 1),
        ReceiptSigned(version="A/R01/v900", manifest="0" * 64, whole=True),
        created(),
    ]
    word = at.chance.choice(forbidden)
    return at.next_entry(THIEF, *([good, word] if at.chance.random() < 0.5 else [word]))


def misplaced_by_its_signer(at: Tamperer) -> Case:
    """Well signed, by one who may, but with a wrong number or after a wrong entry."""
    told = retold(at.raws)
    word = some_word(told, at.chance, "misplaced")
    earlier = read_entry(at.raws[-2], at.last - 1).digest
    wrong = at.chance.choice(
        ({"sequence": at.last}, {"sequence": at.last + 2}, {"previous": earlier}, {"previous": "0" * 64})
    )
    return at.next_entry(THIEF, word, **wrong)


def written_in_a_second_way(at: Tamperer) -> Case:
    """Well signed, by one who may, with the same meaning in other bytes."""
    signed = retold(at.raws).written(THIEF, version("A/R03", 900, note="x")).split(b"\n")[0] + b"\n"
    ways = ((b'":', b'" :'), (b'"x"', b'"\\u0078"'), (b",", b", "), (b'"files":160', b'"files":160,"files":160'))
    was, becomes = at.chance.choice(ways)
    altered = signed.replace(was, becomes, 1).replace(b"v900", b"v1")
    return at.case([*at.raws, altered + base64.b64encode(THIEF.sign(altered)) + b"\n"], len(at.raws))


def too_large(at: Tamperer) -> Case:
    slot = at.place(at.last)
    return at.case([*at.raws[:slot], b" " * (8 * 1024 * 1024 + 1), *at.raws[slot + 1 :]], slot)


def bundles_of(raws: list[bytes]) -> dict[str, bytes]:
    return {
        bundle_key(first, BUNDLE): b"".join(raws[first : first + BUNDLE])
        for first in range(0, len(raws) - BUNDLE + 1, BUNDLE)
    }


def another_ending(at: Tamperer) -> Case:
    """The last entry is another one, as well signed as the honest one."""
    fork = retold(at.raws[:-1])
    fork.say(THIEF, some_word(fork, at.chance, "another ending"))
    return at.case(fork.raws, at.last)


def a_bundle_with_another_ending(at: Tamperer) -> Case:
    """The bundle ends where the ledger ends, and nothing comes after it that could prove its last entry."""
    at.raws = at.raws[: len(at.raws) - len(at.raws) % BUNDLE]
    at.last, at.seen = len(at.raws) - 1, 0
    false = [raw for _, raw in sorted(another_ending(at).objects.items())]
    return at.case([], None, in_places(at.raws) | bundles_of(at.raws[:-1]) | bundles_of(false))


def lying_bundles(at: Tamperer) -> Case:
    """The entries are honest; one or more bundles are not."""
    objects = in_places(at.raws) | bundles_of(at.raws)
    lies = (edited, longer_or_shorter, closed_up, reordered, forked, grafted, replayed, from_another_production)
    for key in at.chance.sample(sorted(bundles_of(at.raws)), at.chance.randrange(1, 3)):
        liar = Tamperer(at.chance.randrange(2**32))
        liar.raws, liar.last, liar.seen = at.raws, at.last, 0
        false = [raw for name, raw in sorted(at.chance.choice(lies)(liar).objects.items())]
        first = int(key.removeprefix("bundles/").partition("-")[0])
        objects[key] = at.chance.choice(
            (b"".join(false[first : first + BUNDLE]), b"".join(false[:BUNDLE]), at.chance.randbytes(200), b"\n" * 16)
        )
    return at.case([], None, objects)


def bundles_that_cover_for_an_edit(at: Tamperer) -> Case:
    """The bundles are honest; the entries in their own places are not, and the reader saw one of them."""
    case = edited(at)
    slot = case.named or 0
    at.seen = slot + 1
    return at.case([], slot, case.objects | bundles_of(at.raws))


def bundles_that_tell_another_history(at: Tamperer) -> Case:
    """Bundles and entries agree on a history that the reader knows to be false."""
    case = forked(at)
    fork = [raw for _, raw in sorted(case.objects.items())]
    return at.case([], case.named, case.objects | bundles_of(fork))


WAYS: tuple[Callable[[Tamperer], Case], ...] = (
    edited,
    longer_or_shorter,
    deleted,
    closed_up,
    reordered,
    rolled_back,
    forked,
    grafted,
    replayed,
    from_another_production,
    wrong_root,
    self_made_entry_0,
    wrong_key,
    borrowed_signature,
    unknown_key,
    retired_key,
    another_name,
    beyond_its_rights,
    misplaced_by_its_signer,
    written_in_a_second_way,
    too_large,
    lying_bundles,
    a_bundle_with_another_ending,
    bundles_that_cover_for_an_edit,
    bundles_that_tell_another_history,
)


def tampered(seed: int) -> tuple[str, Case]:
    """Return the name of a way, and what it left."""
    way = WAYS[seed % len(WAYS)]
    return way.__name__, way(Tamperer(seed))
