"""The ledger of one production: follow it, and append to it.

`append` takes what should be said as a function of what is true. It tries the next free place; where another was
first, it reads what came in between and asks the function again. The rules it keeps (measured and simulated, see
docs/decisions/append-protocol.md): the same bytes go to the same place until the answer is known; a place that is taken
is read back, since our own write whose answer was lost looks the same; no other place is tried before that.
"""

import random
from collections.abc import Callable, Sequence
from datetime import datetime

from relay.clock import Clock
from relay.errors import BrokenError, LostRaceError, MissingError, RefusedError, RelayError, TransientError
from relay.ledger import rules
from relay.ledger.copy import Head, LocalCopy, check_same
from relay.ledger.entry import ENTRY_LIMIT, Entry, read_entry, write_entry
from relay.ledger.history import History
from relay.ledger.keys import KeyId, Pen
from relay.ledger.reading import BUNDLE, BUNDLE_LIMIT, read_from
from relay.ledger.state import State
from relay.ledger.words import Word
from relay.model import digest_of
from relay.store.keys import ENTRY_PREFIX, bundle_key, entry_key
from relay.store.port import Store

Decide = Callable[[State, datetime], Sequence[Word] | None]
"""What should be said, given what is true at an instant; None: nothing (any more)."""

PATIENCE = 60.0
"""Seconds for which an unknown outcome is asked again before a person is told."""

LONGEST_WAIT = 2.0
"""Seconds; a writer that lost waits at random up to a bound that doubles to here."""


class Ledger:
    """One production's ledger, seen by one site. Not safe for several threads: give each its own."""

    def __init__(
        self, store: Store, copy: LocalCopy, clock: Clock, root: KeyId | None, chance: random.Random | None = None
    ) -> None:
        self._store = store
        self._copy = copy
        self._clock = clock
        self._root = root
        self._chance = chance or random.SystemRandom()
        self._history: History
        self._raws: list[bytes]
        self._load()

    @property
    def state(self) -> State:
        """What was true when the ledger was last followed."""
        return self._history.state

    def now(self) -> datetime:
        """Return the present instant on the clock that entries are dated by."""
        return self._clock.now()

    def entries(self) -> list[bytes]:
        """Return the exact bytes of each entry that was read."""
        return list(self._raws)

    def _load(self) -> None:
        self._raws = self._copy.entries()
        try:
            self._history = History(self._root)
            self._history.take_all(self._raws, checked_before=True)
        except BrokenError:  # the copy is damaged inside: the bucket is read anew, against the head we remember
            self._copy.drop_entries()
            self._raws, self._history = [], History(self._root)

    def follow(self) -> State:
        """Read what came in since, check it, remember the head, and return what is true now.

        Raises BrokenError when the bucket shows less than this site saw before, or something else.
        """
        while True:
            head = self._copy.head()
            self._check_head(head)
            self._take_fresh()
            if self.state.sequence < head.sequence:
                raise BrokenError(
                    f"{self._store.name} shows entry {head.sequence} but not all before it: one was deleted"
                )
            if self._copy.keep(self._raws):
                return self.state

    def _take_fresh(self) -> None:
        try:
            self._take()
        except BrokenError:  # a bundle may be what is wrong: nobody needs it, every entry lies in its own place too
            self._take(bundles=False)

    def _take(self, *, bundles: bool = True) -> None:
        try:
            for raw in read_from(self._store, self.state.sequence + 1, bundles=bundles):
                self._history.take(raw)
                self._raws.append(raw)
        except BrokenError:
            self._load()  # the state is half-told
            raise

    def _check_head(self, head: Head) -> None:
        if head.sequence < 0:
            return
        try:
            raw = self._store.read(entry_key(head.sequence), ENTRY_LIMIT)
        except MissingError as error:
            any(self._store.list(ENTRY_PREFIX))  # raises MissingError itself where the store as a whole is not there
            raise BrokenError(
                f"{self._store.name} no longer shows entry {head.sequence}, which this site saw before: it was rolled "
                "back, or is not the production's bucket. Nothing was done; call the coordinator"
            ) from error
        check_same(head, digest_of(raw))

    def append(self, pen: Pen, decide: Decide) -> Entry | None:
        """Say what `decide` wants said, and return the entry; None when `decide` had nothing to say.

        Raises TransientError when the store stayed unreachable: the entry may still land, and running the same command
        again finds out. Raises RefusedError when the rules do not let `pen` say it.
        """
        losses = 0
        self.follow()
        while True:
            words = decide(self.state, self._clock.now())
            if not words:
                return None
            entry = self._write(pen, tuple(words))
            if self._place(entry):
                self._take_own(entry)
                return entry
            losses += 1
            self._clock.wait(self._chance.uniform(0, min(LONGEST_WAIT, 0.02 * 2 ** min(losses, 10))))
            self.follow()

    def insist(self, pen: Pen, decide: Decide) -> Entry:
        """Append, where having nothing to say is an answer the caller does not expect. Raises LostRaceError."""
        entry = self.append(pen, decide)
        if entry is None:
            raise LostRaceError("there was nothing left to say: someone else has done it; look again")
        return entry

    def _write(self, pen: Pen, words: tuple[Word, ...]) -> Entry:
        state = self.state
        raw = write_entry(
            pen,
            words,
            sequence=state.sequence + 1,
            previous=state.digest,
            time=self._clock.now(),
            nonce=f"{self._chance.getrandbits(128):032x}",
        )
        if len(raw) > ENTRY_LIMIT:
            raise RefusedError(
                f"this would be an entry of {len(raw)} bytes: the limit is {ENTRY_LIMIT}; say less at once"
            )
        entry = read_entry(raw, state.sequence + 1)
        rules.fold(state.draft(), entry)  # what readers would refuse is never written
        return entry

    def _place(self, entry: Entry) -> bool:
        """Put `entry` into its place until the answer is known. True: it lies there. False: another one does."""
        key, deadline, waited = entry_key(entry.sequence), self._clock.ticks() + PATIENCE, 0.05
        while True:
            try:
                if self._store.create(key, entry.raw, entry.digest):
                    return True
                # A 412 may be the echo of our own write, sent again by a layer below. The nonce makes our
                # bytes unique: what lies there is ours if and only if it is equal.
                return self._read_back(key) == entry.raw
            except TransientError as error:
                if self._clock.ticks() >= deadline:
                    raise TransientError(
                        f"the store did not say whether entry {entry.sequence} was written ({error}). "
                        "It may still land: run the same command again, it looks first"
                    ) from error
            self._clock.wait(self._chance.uniform(0, waited))
            waited = min(LONGEST_WAIT, waited * 2)

    def _read_back(self, key: str) -> bytes:
        try:
            return self._store.read(key, ENTRY_LIMIT)
        except MissingError as error:
            # Taken, yet not to be seen: no proof of anything. Only the same bytes may go to this place.
            raise TransientError(f"{key} is said to be taken, but nothing is shown there") from error

    def _take_own(self, entry: Entry) -> None:
        self._history.take(entry.raw)
        self._raws.append(entry.raw)
        self._copy.keep(self._raws)
        if (entry.sequence + 1) % BUNDLE == 0:
            self._bundle(entry.sequence + 1 - BUNDLE)

    def _bundle(self, first: int) -> None:
        body = b"".join(self._raws[first : first + BUNDLE])
        if len(body) > BUNDLE_LIMIT:
            return
        try:
            self._store.create(bundle_key(first, BUNDLE), body, digest_of(body))
        except RelayError:
            return  # a bundle only saves time; the entries are all there
