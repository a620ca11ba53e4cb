"""Deliberately wrong copies of the protocol: each leaves out one rule, and the simulation must notice."""

from relay.errors import MissingError, TransientError
from relay.ledger import job_rules
from relay.ledger.entry import Entry, read_entry, write_entry
from relay.ledger.job_state import Claim, Job
from relay.ledger.keys import Pen
from relay.ledger.ledger import Ledger
from relay.ledger.saying import Saying
from relay.ledger.words import Word
from relay.model import Digest
from relay.store.keys import entry_key
from tests.faults.simulation.bucket import Line


class TakenMeansLost(Ledger):
    """A place that is taken is somebody else's: nothing is read back."""

    def _read_back(self, key: str) -> bytes:
        return b"somebody else's"


class GoesOn(Ledger):
    """After a timeout the next place is tried."""

    def _write(self, pen: Pen, words: tuple[Word, ...]) -> Entry:
        self._last = (pen, words)
        return super()._write(pen, words)

    def _place(self, entry: Entry) -> bool:
        pen, words = self._last
        for slot in range(entry.sequence, entry.sequence + 20):
            raw = write_entry(
                pen,
                words,
                sequence=slot,
                previous=self.state.digest,
                time=self._clock.now(),
                nonce=f"{self._chance.getrandbits(128):032x}",
            )
            tried = read_entry(raw, slot)
            try:
                return self._store.create(entry_key(slot), raw, tried.digest)
            except TransientError:
                continue
        return False


class NothingThereMeansNothingComes(Ledger):
    """After a timeout the place is looked at; where nothing lies, the write is taken to have failed."""

    def _place(self, entry: Entry) -> bool:
        key = entry_key(entry.sequence)
        try:
            if self._store.create(key, entry.raw, entry.digest):
                return True
            return self._read_back(key) == entry.raw
        except TransientError:
            try:
                return self._store.read(key) == entry.raw
            except MissingError:
                return False


class NewBytesForEachTry(Ledger):
    """A try whose answer was lost is followed by another with a fresh nonce."""

    def _write(self, pen: Pen, words: tuple[Word, ...]) -> Entry:
        self._last = (pen, words)
        return super()._write(pen, words)

    def _place(self, entry: Entry) -> bool:
        while True:
            try:
                if self._store.create(entry_key(entry.sequence), entry.raw, entry.digest):
                    return True
                return self._read_back(entry_key(entry.sequence)) == entry.raw
            except TransientError:
                self._clock.wait(0.1)
                entry = super()._write(*self._last)


class CheckThenWrite(Line):
    """A store that is not atomic: it looks whether the key is free, and writes a moment later."""

    def create(self, key: str, body: bytes | bytearray | memoryview, digest: Digest) -> bool:
        if key in self.bucket.objects:
            return super().create(key, body, digest)
        self._tried(digest)
        self._wait()
        self.bucket.put(key, bytes(body))
        return True


def any_claim(job: Job, epoch: int) -> Claim:
    """No fence: whatever epoch a word carries is the present one."""
    return job.claim or (job.past[-1] if job.past else Claim("", epoch, job.since))


def any_holder(job: Job, epoch: int, saying: Saying) -> Claim:
    return any_claim(job, epoch)


UNFENCED = {(job_rules, "check_epoch"): any_claim, (job_rules, "check_holder"): any_holder}
