"""The demo's second half: a reel goes the whole route, round four sites and to the venue, while things break.

Each person and each accident is told as a generator: it goes on, a step at a time, when the ledger says what it waits
for. Nothing here waits for a number of seconds; only where nothing at all happens for long, the demo gives up.
"""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from deploy.demo import people
from deploy.demo.crew import KEEPER, Crew
from deploy.demo.house import House, UnexpectedError, tell
from deploy.demo.reels import frames_lost
from relay.clock import SYSTEM_CLOCK
from relay.ledger import route
from relay.ledger.entry import read_entry
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Job, Standing
from relay.ledger.owed import newest_receipt
from relay.ledger.state import State
from relay.ledger.telling import telling
from relay.settings import home_of
from relay.wiring import open_ledger, open_store
from workers.places import Places

GIVE_UP = 180.0
"""Seconds without a word in the ledger after which nothing will come any more, on the slowest machine."""

_LOOK = 0.05  # seconds between two looks into the ledger
_HANDS = 3
"""Commands and desks at work at once; a small machine does no more."""

VENUE = "oslo"
SCREENED = "check screening: picture steady, sound in step from first frame to last, no fault seen"

Steps = Iterator[None]


class Round:
    """What goes on at once, a step of each in turn."""

    def __init__(self, house: House, crew: Crew) -> None:
        self.house = house
        self.crew = crew
        root = home_of(house.home("lisbon")).read().root
        self._ledger = open_ledger(home_of(house / "onlooker", {}), open_store(str(house / "store")), root)
        self.state: State = self._ledger.follow()
        self._told = len(self._ledger.entries())
        self._heard = SYSTEM_CLOCK.ticks()
        self._desks = ThreadPoolExecutor(_HANDS)
        self._office = ThreadPoolExecutor(1)  # Lisbon's words of acceptance keep nobody's work waiting
        self._accepting: set[str] = set()
        self.broker_is_away = False

    def go(self) -> None:
        """Let everything happen until every job is accepted. Raises UnexpectedError where that stops coming nearer."""
        going = [self._accident(), self._broker_restart(), *(self._work(task) for task in people.TASKS), self._screen()]
        with self._desks, self._office:
            while going or not self._is_done():
                self._look()
                going += self._accept()
                going = [steps for steps in going if next(steps, _OVER) is None]
                SYSTEM_CLOCK.wait(_LOOK)
        self._say_what_came_of_it()

    def _look(self) -> None:
        """Follow the ledger, and print what is new in it."""
        self.crew.check()
        self.state = self._ledger.follow()
        entries = self._ledger.entries()
        for slot, raw in enumerate(entries[self._told :], self._told):
            body = read_entry(raw, slot).body
            print(f"  {self._local(body.by, body.time)}  {'; '.join(telling(word) for word in body.words)}", flush=True)
            self._heard = SYSTEM_CLOCK.ticks()
        self._told = len(entries)
        if SYSTEM_CLOCK.ticks() > self._heard + GIVE_UP:
            raise UnexpectedError(
                f"for {GIVE_UP:.0f} s nothing was said in the ledger, and these are not accepted: {self._left()}. "
                + self.crew.told(KEEPER)
            )

    def _local(self, name: str, time: datetime) -> str:
        site = self.state.film().site(name)
        return f"{time.astimezone(ZoneInfo(site.zone if site else 'UTC')):%a %H:%M}  {name:8}"

    def _wanted(self) -> list[str]:
        film = self.state.film()
        return [route.job_name(stage.name, reel) for stage in film.route for reel in route.reels_of(film, stage)]

    def _left(self) -> str:
        jobs = {name: self.state.jobs.get(name) for name in self._wanted()}
        left = {name: job.standing.value if job else "not open yet" for name, job in jobs.items()}
        return ", ".join(f"{name} ({stands})" for name, stands in left.items() if stands != Standing.ACCEPTED)

    def _is_done(self) -> bool:
        return not self._left()

    def _say_what_came_of_it(self) -> None:
        jobs = list(self.state.jobs.values())
        if not jobs or any(job.standing is not Standing.ACCEPTED for job in jobs):
            raise UnexpectedError(f"not every job in the ledger is accepted: {self._left() or 'some were asked for'}")
        copies = [job for job in jobs if job.stage == "reference"]
        if any(job.given_at < self.state.jobs[route.job_name("scan", job.reel)].since for job in copies):
            raise UnexpectedError("a reference copy was begun before its scan was accepted")
        tell(
            f"All {len(jobs)} jobs are accepted. Nothing was lost by the kill, nor by the broker's absence.\n"
            f"{len(copies)} reference copies were made by a worker, each once its scan was accepted: so says the route."
        )

    # What people do.

    def _until(self, is_so: Callable[[], bool]) -> Steps:
        while not is_so():
            yield

    def _do(self, work: Callable[[], object], hands: ThreadPoolExecutor | None = None) -> Steps:
        """Let `work` go on beside everything else until it is done. Raises what it raises."""
        doing = (hands or self._desks).submit(work)
        yield from self._until(doing.done)
        doing.result()

    def _command(self, site: str, *words: str | Path) -> Steps:
        self.house.show(site, *words)
        yield from self._do(lambda: self._checked(site, *words), self._office if words[0] == "accept" else None)

    def _checked(self, site: str, *words: str | Path) -> None:
        code, said = self.house.run(site, *words, **({} if site == KEEPER else self.crew.bell))
        if code != 0:
            raise UnexpectedError(f"in {site}, `relay {' '.join(map(str, words))}` ended with {code}:\n{said}")

    def _job(self, name: str) -> Job | None:
        return self.state.jobs.get(f"{name}/1")

    def _is_ready(self, task: people.Task) -> bool:
        """Answer whether the job is open and everything it takes has arrived whole at the site."""
        job = self._job(task.job)
        if job is None or job.standing is not Standing.OPEN:
            return False
        receipts = [newest_receipt(self.state.versions[version], task.site) for version in job.inputs]
        return all(receipt is not None and receipt.whole for receipt in receipts)

    def _work(self, task: people.Task) -> Steps:
        """A technician's day: claim what is theirs, work, drop the result in to-send/."""
        yield from self._until(lambda: self._is_ready(task))
        yield from self._command(task.site, "claim", task.job)
        places = Places(self.house / task.site)
        arrived = [places.arrival_of(version) for version in self.state.jobs[f"{task.job}/1"].inputs]
        made = self.house / task.site / "desk" / task.folder
        yield from self._do(lambda: task.work(made, arrived))
        if task.job.startswith("grade"):
            yield from self._until(lambda: self.broker_is_away)
        places.to_send.mkdir(parents=True, exist_ok=True)  # the worker may not have come so far yet
        made.rename(places.to_send / task.folder)
        (places.to_send / f"{task.folder}.finished").touch()
        self.house.show_copying(task.site, task.folder)

    def _accept(self) -> list[Steps]:
        """Lisbon looks at what arrived and accepts it, wherever no other site is named for that."""
        ready = [
            job
            for job in self.state.jobs.values()
            if job.standing is Standing.HANDED_IN
            and job.outcome is not None
            and not stage_of(self.state, job).accepted_by
            and route.is_received(self.state, stage_of(self.state, job), job.outcome)
            and self.state.versions[job.outcome].inspections
            and job.outcome not in self._accepting
        ]
        self._accepting |= {job.outcome for job in ready if job.outcome}
        return [self._command("lisbon", "accept", job.job, *self._despite(job)) for job in ready]

    def _despite(self, job: Job) -> list[str]:
        """Return what lets a scan pass in which nothing but frames is missing that the print itself lost."""
        looked = self.state.versions[job.outcome].inspections[-1] if job.outcome else None
        if looked is None or not looked.blocking:
            return []
        lost = frames_lost(job.reel.partition("/")[0], people.REEL, people.FRAMES)
        if job.stage != "scan" or not lost or looked.blocking > 1:
            raise UnexpectedError(f"{looked.blocking} findings block {job.outcome}, which the story does not know of")
        return ["--despite", "--note", f"looked at: {len(lost)} frames are lost from the print itself, at old joins"]

    def _screen(self) -> Steps:
        """The venue runs no worker: it fetches the package by hand, which looks at it, screens it, and accepts it."""
        yield from self._until(lambda: (job := self._job("deliver/Q/R02")) is not None and job.outcome is not None)
        tell("The package goes to the venue, which runs no worker: Oslo fetches it by hand, and screens it.")
        version = self.state.jobs["deliver/Q/R02/1"].outcome or ""
        yield from self._command(VENUE, "fetch", version, self.house / VENUE / "arrived" / "Q_R02")
        yield from self._command(VENUE, "accept", "deliver/Q/R02", "--note", SCREENED)

    # What breaks.

    def _at_work(self) -> Job | None:
        jobs = self.state.jobs.values()
        return next((job for job in jobs if job.stage == "process" and job.claim and job.claim.lease), None)

    def _accident(self) -> Steps:
        """A power cut at a site whose worker has a job in hand: SIGKILL. Another goes on when the lease is over."""
        while True:
            yield from self._until(lambda: self._at_work() is not None)
            job = self._at_work()
            if job is None or job.claim is None:
                continue
            site, epoch = job.claim.site, job.claim.epoch
            self.crew.kill(site)
            yield  # and look what the ledger says now
            if (now := self.state.jobs[job.job]).claim and now.claim.epoch == epoch:
                break
            self.crew.start(site)  # it had handed in just before: the next job, then
        tell(f"A power cut in {site}, in the middle of {job.job}: its worker is killed. The claim lapses in a while.")
        yield from self._until(lambda: self._is_taken_over(job.job, epoch))
        heir = self.state.jobs[job.job]
        tell(f"{heir.claim.site if heir.claim else heir.holder} goes on with {job.job}. The power is back in {site}.")
        self.crew.start(site)

    def _is_taken_over(self, name: str, epoch: int) -> bool:
        job = self.state.jobs[name]
        return job.outcome is not None or (job.claim is not None and job.claim.epoch != epoch)

    def _broker_restart(self) -> Steps:
        """The machine with the broker restarts while the grade is on its way: everybody looks by themselves."""
        yield from self._until(lambda: (job := self._job("grade/Q/R02")) is not None and job.claim is not None)
        tell("Lisbon's machine restarts, and the broker with it. Nobody is rung; each worker looks by itself.")
        yield from self._do(lambda: self.crew.stop(KEEPER))
        if self.crew.has_broker():
            raise UnexpectedError("the broker must be away now, and answers")
        self.broker_is_away = True
        yield from self._until(lambda: self._job("deliver/Q/R02") is not None or self._has_grade_arrived())
        tell("The grade was handed in and has arrived without a bell. Lisbon, and the broker, are back.")
        self.crew.start(KEEPER)
        yield from self._until(self.crew.has_broker)

    def _has_grade_arrived(self) -> bool:
        job = self._job("grade/Q/R02")
        return job is not None and job.outcome is not None and route.has_arrived(self.state, job.outcome)


_OVER = object()
