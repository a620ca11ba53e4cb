"""A site's turn: look what is owed, do it, say so. Knows no Celery.

Everything owed is read from the ledger, so a turn may be taken at any time, twice at once, or killed in the middle: the
next one finds what is left. One thing that goes wrong keeps nothing else waiting.
"""

import logging
from collections.abc import Callable, Iterable, Iterator
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from relay.doorbell import Ringer
from relay.errors import BrokenError, LostRaceError, RefusedError, RelayError, TransientError
from relay.ledger import owed, route
from relay.ledger.job_words import ClaimLapsed
from relay.ledger.state import State
from relay.ledger.words import Word
from relay.ledger.work import job_named, open_due
from relay.media.eyes import has_media
from relay.model import VersionName
from relay.transfer.arrivals import Arrival
from relay.transfer.conforming import conform_by_inputs
from relay.transfer.desk import Desk
from relay.transfer.fixity import Schedule, check_due
from relay.transfer.handover import Received, receive
from relay.transfer.inspecting import conclude, inspecting, receive_and_look, say_unseen
from relay.transfer.mending import mend_version
from workers.automatic import able_to_do, do_job
from workers.hooks import Teller
from workers.kinds.align import align_pair, pairs_owed
from workers.kinds.comparison import copies_owed, make_copy
from workers.kinds.left import compare_owed, regions_owed
from workers.life import Life
from workers.planning import Planning
from workers.room import Room, StoppedError, StopWatch, tell_trouble
from workers.to_send import PROBLEM, explain, finished_folders, folder_words, kept_folders, send_folder

LOG = logging.getLogger("relay.workers")

Item = TypeVar("Item")

CLOCK_EVERY = 3600.0  # seconds
SKEW_TOLD = 60
"""Seconds that a clock may be wrong before people are told."""

_FOLDERS = "how folders in to-send/ stand"


class Lane(StrEnum):
    """One kind of work of a site, which goes on beside the others."""

    LOOK = "look"
    """Say what the route asks for and which machines went silent; find which other lanes have something to do."""
    RECEIVE = "receive"
    INSPECT = "inspect"
    """Look at the pictures of what arrived and was not looked at while it did."""
    MEND = "mend"
    SEND = "send"
    DO = "do"
    PLAN = "plan"
    """Ask the site that the plan has for each open job; tell people to whom their work goes when they close."""
    ALIGN = "align"
    """Put prints of one reel side by side, by what inspections left of them; compare what is left as it is; make
    comparison copies that people asked for."""
    FIXITY = "fixity"
    TELL = "tell"


class Turn:
    """What one site does when it looks. Each lane may be run at any time; none waits for another."""

    def __init__(self, desk: Desk, room: Room, hooks: Callable[[], Teller], schedule: Schedule | None = None) -> None:
        self.desk = desk
        self.room = room
        self.life = Life(desk.store, room.clock)
        self._hooks = hooks
        self._schedule = schedule or Schedule()
        self._next_clock = 0.0
        self._planning = Planning(desk, room)
        self._ringer = Ringer(room.bell, desk.ledger, desk.site)

    @property
    def site(self) -> str:
        return self.desk.site

    def run(self, lane: Lane) -> int:
        """Run one lane until nothing is left for it; returns how many things were done."""
        match lane:
            case Lane.LOOK:
                return self.look()
            case Lane.RECEIVE:
                return self._each("receive", owed.to_receive(self.desk.ledger.follow(), self.site), self._receive)
            case Lane.INSPECT:
                looked = self._each("inspect", self._to_look_at(self.desk.ledger.follow()), self._inspect)
                return looked + self._each("conform", owed.to_conform(self.desk.ledger.state, self.site), self._conform)
            case Lane.MEND:
                return self._each("mend", self._mendable(self.desk.ledger.follow()), self._mend)
            case Lane.SEND:
                return self._send()
            case Lane.DO:
                return self._do()
            case Lane.PLAN:
                ahead = ["ahead"] if self._is_plan_due(self.desk.ledger.follow()) else []
                return self._each("plan", ahead, lambda _: self._planning.plan())
            case Lane.ALIGN:
                done = self._each("align", pairs_owed(self.desk), lambda pair: align_pair(self.desk, pair))
                done += self._each("compare", regions_owed(self.desk), lambda on: compare_owed(self.desk, on))
                return done + self._each("show", copies_owed(self.desk), self._show)
            case Lane.FIXITY:
                return check_due(self.desk, self._schedule)
            case Lane.TELL:
                return self._each("tell", ["people"] if self._has_news() else [], lambda _: self._hooks().tell())

    def look(self) -> int:
        """Say what the route asks for and which machines have gone silent. Returns how many things were said."""
        state = self.desk.ledger.follow()
        self._compare_clocks()
        site = state.film().site(self.site)
        self.room.stages = frozenset(site.stages if site else ())
        said = self._each("open", ["what is due"] if route.due(state) else [], self._open)
        claims = owed.machine_claims(state)
        self.life.forget_all_but(claims)
        ours = self.room.busy
        silent = {job.job: word for job in claims if job.job not in ours and (word := self.life.lapsed(job))}
        return said + self._each("lapse", silent, lambda name: self._say_lapsed(silent[name]))

    def _compare_clocks(self) -> None:
        """Tell once an hour how far this machine's clock is from the store's: nothing else here depends on it."""
        if self.room.clock.ticks() < self._next_clock:
            return
        self._next_clock = self.room.clock.ticks() + CLOCK_EVERY
        ahead = round((self.desk.clock.now() - self.desk.store.now()).total_seconds())
        if abs(ahead) > SKEW_TOLD:
            LOG.warning(
                "%s: this machine's clock is %d s %s the store's. No job is lost by it, but people read wrong times, "
                "and S3 stores refuse more than 15 minutes: set it right",
                self.site,
                abs(ahead),
                "ahead of" if ahead > 0 else "behind",
            )

    def wanted(self) -> set[Lane]:
        """Return the lanes that have something to do, by what the ledger said when it was last followed."""
        state, allows = self.desk.ledger.state, self.room.patience.allows
        wanted = {
            Lane.RECEIVE: any(allows(f"receive {version}") for version in owed.to_receive(state, self.site)),
            Lane.INSPECT: any(allows(f"inspect {version}") for version in self._to_look_at(state))
            or any(allows(f"conform {version}") for version in owed.to_conform(state, self.site)),
            Lane.MEND: any(allows(f"mend {version}") for version in self._mendable(state)),
            Lane.SEND: bool(finished_folders(self.room)) or bool(self._unsaid_folders(state)),
            Lane.DO: next(self._doable(state), None) is not None,
            Lane.PLAN: allows("plan ahead") and self._is_plan_due(state),
            Lane.ALIGN: any(allows(f"align {pair}") for pair in pairs_owed(self.desk))
            or any(allows(f"compare {what}") for what in regions_owed(self.desk))
            or any(allows(f"show {entry}") for entry in copies_owed(self.desk)),
            Lane.TELL: allows("tell people") and self._has_news(),
        }
        return {lane for lane, is_wanted in wanted.items() if is_wanted}

    def _open(self, _what: str) -> None:
        open_due(self.desk.ledger, self.desk.pen)

    def _say_lapsed(self, word: ClaimLapsed) -> None:
        def decide(state: State, _now: object) -> list[Word] | None:
            claim = job_named(state, word.job).claim
            return [word] if claim and claim.epoch == word.epoch else None

        self.desk.ledger.append(self.desk.pen, decide)

    def _receive(self, version: VersionName) -> None:
        place = self.room.places.arrival_of(version)
        try:
            received = self._received(version, place)
        except (TransientError, LostRaceError):
            raise
        except RelayError as error:
            explain(place, error, "did not arrive")
            raise
        word = "whole" if received.fetched.whole else "refused"
        LOG.info("%s arrived at %s: %s, entry %s", version, self.site, word, received.receipt.entry)
        if received.fetched.whole:
            place.with_name(place.name + PROBLEM).unlink(missing_ok=True)
        elif owed.was_damaged_on_arrival(self.desk.ledger.state, version, self.site):
            raise BrokenError(
                f"{version} was damaged on its way to {place}, not in the bucket: it is fetched again in a while. "
                "If that goes on, look after this machine's memory, disk and line"
            )
        if route.due(self.desk.ledger.state):
            open_due(self.desk.ledger, self.desk.pen)

    def _received(self, version: VersionName, place: Path) -> Received:
        received = receive_and_look(self.desk, version, place, StopWatch(self.room), self._go_on)
        self._tell_look(version)
        return received

    def _inspect(self, version: VersionName) -> None:
        """Look at what has arrived and was not looked at on its way: a worker was killed, or lacked the libraries."""
        state = self.desk.ledger.state
        job = owed.inspected_job(state, version, self.site)
        if job is None or not has_media():
            say_unseen(self.desk, version)
            return
        with inspecting(self.desk, state.versions[version], job) as inspection:
            copies = self._copies(state, version)
            place = copies[0].folder if copies else self.room.places.arrival_of(version)
            if not copies:
                receive(self.desk, version, place, StopWatch(self.room), inspection.look)
            conclude(self.desk, state.versions[version], place, inspection, self._go_on)
        self._tell_look(version)

    def _conform(self, version: VersionName) -> None:
        """Hold what was handed in against the cut list among its inputs."""
        state = self.desk.ledger.state
        job = next(job for job in state.jobs.values() if job.outcome == version)
        report = conform_by_inputs(self.desk, state.versions[version], job.inputs)
        LOG.info("%s held %s against its cut list: %d findings block", self.site, version, report.blocking())

    def _show(self, entry: int) -> None:
        make_copy(self.desk, entry, self.room.places.scratch)

    def _go_on(self, _path: str, _size: int) -> None:
        self.room.check_going_on()

    def _tell_look(self, version: VersionName) -> None:
        for found in self.desk.ledger.state.versions[version].inspections[-1:]:
            LOG.info("%s looked at %s: %d findings block, %d warn", self.site, version, found.blocking, found.warning)

    def _to_look_at(self, state: State) -> list[VersionName]:
        """Return what is to be looked at here; without the libraries for it, what is to be said instead."""
        return owed.to_inspect(state, self.site) if has_media() else owed.to_say_unseen(state, self.site)

    def _mendable(self, state: State) -> list[VersionName]:
        return [version for version in owed.to_mend(state, self.site) if self._copies(state, version)]

    def _copies(self, state: State, version: VersionName) -> list[Arrival]:
        wanted = state.versions[version].manifest
        return [arrival for arrival in self.desk.arrivals.near(version) if arrival.manifest == wanted]

    def _mend(self, version: VersionName) -> None:
        """Mend from the first copy here that is still good."""
        trouble: RelayError | None = None
        for arrival in self._copies(self.desk.ledger.state, version):
            try:
                mended = mend_version(self.desk, version, arrival.folder, watcher=StopWatch(self.room))
            except TransientError:
                raise
            except RelayError as error:
                trouble = error
                continue
            if mended.objects:
                LOG.info("%s: %d objects mended from %s", version, len(mended.objects), arrival.folder)
                return
        raise trouble or RefusedError(
            f"{version} was refused, but nothing of it is bad in the bucket any more: let the site that refused it "
            "fetch it again by hand"
        )

    def _send(self) -> int:
        folders = finished_folders(self.room)
        if folders:
            self.desk.ledger.follow()
        sent = self._each("send", folders, self._send_folder)
        news = [_FOLDERS] if self._unsaid_folders(self.desk.ledger.state) else []
        self._each("say", news, lambda _: self.desk.ledger.append(self.desk.pen, self._folder_words))
        return sent

    def _unsaid_folders(self, state: State) -> list[Word]:
        may_say = self.room.patience.allows(f"say {_FOLDERS}")
        return folder_words(state, self.site, kept_folders(self.room)) if may_say else []

    def _folder_words(self, state: State, _now: object) -> list[Word]:
        return folder_words(state, self.site, kept_folders(self.room))

    def _send_folder(self, folder: Path) -> None:
        send_folder(self.desk, self.room, folder)

    def _do(self) -> int:
        done, tried = 0, set[str]()
        while (
            name := next((name for name in self._doable(self.desk.ledger.follow()) if name not in tried), None)
        ) is not None:
            tried.add(name)
            done += self._each("do", [name], lambda name: do_job(self.desk, self.room, self.life, name))
        return done

    def _doable(self, state: State) -> Iterator[str]:
        for job in able_to_do(state, self.site):
            if job.job not in self.room.busy and self.room.patience.allows(f"do {job.job}"):
                yield job.job

    def _is_plan_due(self, state: State) -> bool:
        """Answer whether a plan is wanted, or why it cannot be made must be told."""
        try:
            return self._planning.is_due(state)
        except RelayError:
            return True

    def _has_news(self) -> bool:
        """Answer whether people must be told something, or that their hooks cannot be read."""
        try:
            return bool(self._hooks().waiting(self.desk.ledger.state))
        except RelayError:
            return True

    def _each(self, doing: str, items: Iterable[Item], work: Callable[[Item], object]) -> int:
        """Do `work` on each; what fails is told, and the others go on. Returns how many were done."""
        done = 0
        for item in items:
            name = f"{doing} {item}"
            if not self.room.patience.allows(name):
                continue
            self.room.check_going_on()
            try:
                work(item)
                self.room.patience.succeeded(name)
                done += 1
            except StoppedError:
                raise
            except RelayError as error:
                self.room.patience.failed(name, error)
                tell_trouble(self.site, error)
            self._ringer.ring()
        return done
