"""Follows the ledger beside the pages, so that no page waits for the store: they show what was known last, since when.

One thread follows; what it found is one frozen picture that any thread may look at. Manifests are read bit by bit
after that, newest first, and signs of life of machines now and then.
"""

import logging
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from relay.board.reckoning import Reckoner
from relay.board.rows.ledger import spoken
from relay.board.rows.sites import Word, day_of
from relay.board.rows.view import Frames, Span, View
from relay.board.seer import NOT_YET, Foresight, Seer
from relay.board.shifts import landings, shifts_in
from relay.errors import BrokenError, RefusedError, RelayError, TransientError
from relay.ledger import owed
from relay.ledger.state import State
from relay.media.sequence import frames_in
from relay.model import ReelName, VersionName
from relay.store.keys import alive_key
from relay.transfer.seat import Seat

LOG = logging.getLogger("relay.board")

EVERY = 1.0
"""Seconds between two looks while somebody watches. An entry shows within two."""

IDLE_EVERY = 10.0
"""Seconds between two looks while nobody does: each is a request or two to the store."""

LIFE_EVERY = 15.0
"""Seconds between two looks for signs of life."""

MANIFESTS_AT_ONCE = 8
"""Manifests read between two looks: one of 16,000 frames takes a tenth of a second."""


@dataclass(frozen=True)
class Picture:
    """What was known at one moment."""

    state: State
    raws: Sequence[bytes]
    about: Mapping[ReelName, Sequence[int]]
    """The entries about each reel, oldest first."""
    spoke: Mapping[str, Word]
    frames: Mapping[VersionName, Frames]
    silent: Mapping[str, int]
    shifts: Mapping[str, tuple[Span, ...]]
    lands: Mapping[tuple[VersionName, str], datetime]
    """When what is on its way to a site lands there, if its line carries what it usually does."""
    foresight: Foresight = NOT_YET
    number: int = 0
    """Counts up with every change that a page could show."""
    facts: int = 0
    """Counts up with every change but that of the forecast."""
    heard: datetime | None = None
    """When the store last answered; None: not since the board started."""
    stale_since: datetime | None = None
    alarm: str = ""
    """What is broken, for a person."""

    def view(self, now: datetime) -> View:
        outlook = self.foresight.outlook
        return View(self.state, now, self.frames, self.silent, self.stale_since, self.shifts, self.lands, outlook)


@dataclass
class _Index:
    about: dict[ReelName, list[int]] = field(default_factory=dict)
    spoke: dict[str, Word] = field(default_factory=dict)
    read: int = 0

    def take(self, raws: Sequence[bytes]) -> None:
        for slot in range(self.read, len(raws)):
            said = spoken(raws[slot])
            self.spoke[said.by] = Word(entry=slot, time=said.time)
            for reel in said.reels:
                self.about.setdefault(reel, []).append(slot)
        self.read = len(raws)


class Watch:
    """The board's eyes on one production."""

    def __init__(self, seat: Seat, reckoner: Reckoner) -> None:
        self._seat = seat
        self._index = _Index()
        self._frames: dict[VersionName, Frames] = {}
        self._wanted: dict[VersionName, None] = {}
        self._wanting = threading.Lock()
        self._looked_for_life = float("-inf")
        self._last_asked = float("-inf")
        self._seer = Seer(seat.clock, reckoner, self._foresee)
        self._changing = threading.Lock()
        self._over = threading.Event()
        self._woken = threading.Event()
        self._thread = threading.Thread(target=self._run, name="board's watch", daemon=True)
        self.picture = Picture(State(), (), {}, {}, {}, {}, {}, {})
        with seat.alone():
            self._take(heard=False)  # what this home knew when it was last used: enough to show

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._over.set()
        self._woken.set()
        if self._thread.is_alive():
            self._thread.join(5)
        self._seer.stop()

    def asked(self) -> None:
        """Say that somebody watches; whoever comes after a quiet time is not kept waiting for the next look."""
        before, self._last_asked = self._last_asked, self._seat.clock.ticks()
        if self._last_asked - before > IDLE_EVERY:
            self._woken.set()

    def look_now(self) -> None:
        """Follow at once: something was said."""
        self._woken.set()

    def _run(self) -> None:
        while not self._over.is_set():
            self.look()
            if self.picture.state.production is not None and self._last_asked > float("-inf"):
                self._seer.look(self.picture.state, self._seat.ledger.now())
            idle = self._seat.clock.ticks() - self._last_asked > 2 * IDLE_EVERY
            self._woken.wait(IDLE_EVERY if idle else EVERY)
            self._woken.clear()

    def look(self) -> None:
        """Follow the ledger once, and whatever else is due."""
        try:
            with self._seat.alone():
                self._seat.ledger.follow()
                self._take(heard=True)
            self._read_manifests()
            self._look_for_life()
        except (BrokenError, RefusedError) as error:
            self._say(alarm=str(error))
        except RelayError as error:
            self._say_away(str(error))

    def _foresee(self, foresight: Foresight) -> None:
        self._change(foresight=foresight)

    def _say_away(self, why: str) -> None:
        if self.picture.stale_since is None:
            LOG.warning("the store does not answer: %s", why)
            self._change(stale_since=self.picture.heard or self._seat.ledger.now())

    def _say(self, alarm: str) -> None:
        if self.picture.alarm != alarm:
            LOG.error("the ledger does not hold: %s", alarm)
            self._change(alarm=alarm)

    def _take(self, *, heard: bool) -> None:
        ledger, now = self._seat.ledger, self._seat.ledger.now()
        before = self.picture
        if heard and (before.stale_since or before.alarm):
            self._change(stale_since=None, alarm="", heard=now)
        elif heard:
            with self._changing:
                self.picture = replace(self.picture, heard=now)
        if ledger.state.sequence != self.picture.state.sequence:
            raws = ledger.entries()
            self._index.take(raws)
            about = {reel: tuple(slots) for reel, slots in self._index.about.items()}
            state = ledger.state.still()
            self._change(state=state, raws=raws, about=about, spoke=dict(self._index.spoke))
            self._reckon(state, now)
        elif (
            self.picture.state.production
            and before.heard
            and (before.heard.hour, before.heard.minute)
            != (
                now.hour,
                now.minute,
            )
        ):
            self._reckon(self.picture.state, now)

    def _reckon(self, state: State, now: datetime) -> None:
        """Lay out the hours that are shown, and when lands what is on its way."""
        if state.production is None:
            return
        shifts, lands = shifts_in(state.film(), day_of(now)), landings(state, now)
        if (shifts, lands) != (self.picture.shifts, self.picture.lands):
            self._change(shifts=shifts, lands=lands)

    def _change(self, **changes: Any) -> None:
        with self._changing:
            before = self.picture
            facts = before.facts + (changes.keys() != {"foresight"})
            self.picture = replace(before, number=before.number + 1, facts=facts, **changes)

    def _read_manifests(self) -> None:
        state = self.picture.state
        newest = [VersionName(f"{reel}/v{number}") for reel, number in state.newest.items()]
        with self._wanting:
            asked, self._wanted = self._wanted, {}
        wanted = [name for name in (*asked, *newest) if name not in self._frames][:MANIFESTS_AT_ONCE]
        for name in wanted:
            self._frames[name] = self._frames_of(state, name)
        if any(self._frames[name] for name in wanted):
            self._change(frames=dict(self._frames))
        if wanted:
            self._woken.set()  # more may be waiting

    def want(self, names: Iterable[VersionName]) -> None:
        """Ask for the frames of versions that somebody looks at; they come with the next change."""
        lacking = [name for name in names if name not in self._frames]
        if lacking:
            with self._wanting:
                self._wanted |= dict.fromkeys(lacking)
            self._woken.set()

    def _frames_of(self, state: State, name: VersionName) -> Frames:
        """Return which frames a version holds; none where its manifest is not there or ties nothing to the reel."""
        version = state.versions[name]
        if version.scan_map is None:
            return ()
        try:
            return frames_in(self._seat.manifests.read(version.manifest), version.scan_map)
        except TransientError:
            raise
        except RelayError as error:
            LOG.warning("which frames %s holds is not known: %s", name, error)
            return ()

    def _look_for_life(self) -> None:
        if self._seat.clock.ticks() - self._looked_for_life < LIFE_EVERY:
            return
        self._looked_for_life = self._seat.clock.ticks()
        silent = {
            job.job: int(age)
            for job in owed.machine_claims(self.picture.state)
            if job.claim and job.claim.lease and (age := self._age(job.job, job.claim.epoch)) > job.claim.lease / 2
        }
        if silent.keys() != self.picture.silent.keys():
            self._change(silent=silent)

    def _age(self, job: str, epoch: int) -> float:
        return self._seat.store.age(alive_key(job, epoch)) or 0.0
