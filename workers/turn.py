"""A site's turn: look what is owed, claim, do, say so. Knows no Celery.

Everything owed is read from the ledger, so a turn may be taken at any time, twice at once, or killed in the middle: the
next one finds what is left. One thing that goes wrong keeps nothing else waiting.
"""

import logging
from collections.abc import Callable, Iterable
from typing import TypeVar

from relay.errors import LostRaceError, RelayError, TransientError
from relay.ledger import owed
from relay.ledger.job_words import ClaimLapsed
from relay.ledger.state import State
from relay.ledger.words import Word
from relay.ledger.work import job_named, open_due
from relay.model import VersionName
from relay.transfer.desk import Desk
from relay.transfer.handover import own_receipt, receive
from relay.transfer.mending import mend_version
from workers.automatic import do_job
from workers.life import Life
from workers.places import Places
from workers.to_send import send_finished

LOG = logging.getLogger("relay.workers")

Item = TypeVar("Item")


class Turn:
    """What one site does when it looks. Each method may be called at any time; none waits for another."""

    def __init__(self, desk: Desk, places: Places, settle: float) -> None:
        self.desk = desk
        self.places = places
        self.settle = settle
        """Seconds that a folder in `to-send/` must have been left alone."""
        self.life = Life(desk.store)

    @property
    def site(self) -> str:
        return self.desk.site

    def look(self) -> int:
        """Say what the route asks for and which machines have gone silent. Returns how many things were said."""
        state = self.desk.ledger.follow()
        said = 1 if open_due(self.desk.ledger, self.desk.pen) else 0
        silent = [job for job in owed.machine_claims(state) if job.claim and self.life.is_silent(job)]
        return said + self._each(silent, lambda job: self._say_lapsed(job.job, job.claim.epoch if job.claim else 0))

    def _say_lapsed(self, name: str, epoch: int) -> None:
        def decide(state: State, _now: object) -> list[Word] | None:
            claim = job_named(state, name).claim
            return [ClaimLapsed(job=name, epoch=epoch)] if claim and claim.epoch == epoch else None

        self.desk.ledger.append(self.desk.pen, decide)

    def receive(self) -> int:
        """Fetch what this site should have, verify it, and sign for it. Returns how many versions were signed for."""
        state = self.desk.ledger.follow()
        return self._each(owed.to_receive(state, self.site), self._receive)

    def _receive(self, version: VersionName) -> None:
        received = receive(self.desk, version, self.places.arrival_of(version))
        word = "whole" if received.fetched.whole else "refused"
        LOG.info("%s arrived at %s: %s, entry %s", version, self.site, word, received.receipt.entry)
        open_due(self.desk.ledger, self.desk.pen)

    def mend(self) -> int:
        """Mend what somebody found bad in the bucket, where this site may and has a good copy."""
        state = self.desk.ledger.follow()
        return self._each(owed.to_mend(state, self.site), self._mend)

    def _mend(self, version: VersionName) -> None:
        wanted = self.desk.ledger.state.versions[version].manifest
        for arrival in self.desk.arrivals.near(version):
            if arrival.manifest == wanted:
                mended = mend_version(self.desk, version, arrival.folder)
                LOG.info("%s: %d objects mended from %s", version, len(mended.objects), arrival.folder)
                return

    def send(self) -> int:
        """Send what lies finished in `to-send/`."""
        self.desk.ledger.follow()
        return send_finished(self.desk, self.places, self.settle)

    def do(self) -> int:
        """Claim and do automatic jobs, until none is left that this site can have."""
        done = 0
        while jobs := owed.automatic(self.desk.ledger.follow(), self.site):
            tried = self._each(jobs[:1], lambda job: do_job(self.desk, self.places, self.life, job.job))
            done += tried
            if not tried:
                break
        return done

    def _each(self, items: Iterable[Item], work: Callable[[Item], object]) -> int:
        """Do `work` on each; what fails is told, and the others go on. Returns how many were done."""
        done = 0
        for item in items:
            try:
                work(item)
                done += 1
            except LostRaceError as error:
                LOG.info("%s: %s", self.site, error)  # someone else does it: nothing is owed any more
            except TransientError as error:
                LOG.warning("%s: again later: %s", self.site, error)
            except RelayError as error:
                LOG.error("%s: a person is needed: %s", self.site, error)  # noqa: TRY400  people read this, without a trace
        return done


def received_whole(state: State, version: VersionName, site: str) -> bool:
    """Answer whether `site` has signed that `version` arrived whole."""
    receipt = own_receipt(state, version, site)
    return receipt is not None and receipt.whole
