"""Does a job that needs no person: runs the program that its stage names, and hands in what that made.

Killed at any moment, the job is done all the same: this site's next worker finds the claim and goes on under it; if
none comes, the claim lapses and another site claims. What goes wrong with the work counts as a failed try, so that a
job which cannot be done stops; what goes wrong with the line does not.
"""

import logging
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from relay.errors import LostRaceError, RelayError, TransientError
from relay.ledger import owed
from relay.ledger.job_rules import stage_of
from relay.ledger.job_state import Claim, Job
from relay.ledger.job_words import ClaimReleased, JobClaimed, TryFailed
from relay.ledger.state import State
from relay.ledger.words import Word
from relay.ledger.work import job_named
from relay.model import Stage, VersionName
from relay.settings import program_environment
from relay.store.folder import in_our_words
from relay.transfer.desk import Desk
from relay.transfer.handover import Sending, Sent, receive, send
from workers.kinds import KINDS
from workers.life import Life
from workers.places import folder_name
from workers.program import run
from workers.room import Room, StopWatch

LOG = logging.getLogger("relay.workers")

_PLACE = re.compile(r"\{(input|inputs|output|job|reel)\}")
_LONGEST_WAIT = 60.0  # seconds
_OUTAGE = 6 * 3600.0
"""Seconds for which finished work is kept at hand while the store is away; after that, it is done anew."""

Result = TypeVar("Result")


class FailedTryError(RelayError):
    """The program did not do it; what it said last is the message."""


class BadInputError(RelayError):
    """What the job works on did not arrive whole: nobody can do it before that is mended."""


def able_to_do(state: State, site: str) -> list[Job]:
    """Return the automatic jobs that a worker at `site` can go on with: those it holds, then those that are open.

    Those whose input this site found bad are left until that is mended.
    """
    held = [job for job in owed.machine_claims(state) if job.claim and job.claim.site == site]
    able = [job for job in owed.automatic(state, site) if not waits_for_mending(state, job, site)]
    return [*held, *_spread(state, able, site)]


def _spread(state: State, jobs: list[Job], site: str) -> list[Job]:
    """Let each site begin at another job, so that they seldom reach for the same one."""
    asked = [job for job in jobs if job.prefers in {None, site}]
    others = [job for job in jobs if job.prefers not in {None, site}]
    names = [each.name for each in state.film().sites]
    start = names.index(site) * len(asked) // len(names) if site in names else 0
    return asked[start:] + asked[:start] + others


def waits_for_mending(state: State, job: Job, site: str) -> bool:
    """Answer whether `site` found an input of `job` bad in the bucket, and nothing of it was mended since.

    What was damaged on its way here is not waited for: it is fetched again with the next try.
    """
    refused = {
        version: receipt.entry
        for version in job.inputs
        if (receipt := owed.newest_receipt(state.versions[version], site))
        and not receipt.whole
        and not owed.was_damaged_on_arrival(state, version, site)
    }
    return any(not owed.mended_since(state, version, entry) for version, entry in refused.items())


def do_job(desk: Desk, room: Room, life: Life, name: str) -> None:
    """Claim the job, or go on under our claim, do it and hand it in; or say that the try failed.

    Raises LostRaceError where somebody else has it, and StoppedError where the worker is being stopped.
    """
    with room.working_on(name) as mine:
        if not mine:
            raise LostRaceError(f"job {name} is being done by another worker of {desk.site}")
        claim = _own_claim(desk, name) or _claim(desk, name)
        with life.beating(name, claim.epoch, claim.lease or 1):
            _Try(desk, room, name, claim).go()


def _own_claim(desk: Desk, name: str) -> Claim | None:
    claim = job_named(desk.ledger.follow(), name).claim
    return claim if claim and claim.site == desk.site and claim.lease is not None else None


def _claim(desk: Desk, name: str) -> Claim:
    def decide(state: State, _now: object) -> list[Word] | None:
        job = job_named(state, name)
        if job.claim is not None or job.is_over or job.outcome is not None:
            return None
        return [JobClaimed(job=name, lease=stage_of(state, job).lease)]

    entry = desk.ledger.append(desk.pen, decide)
    claim = desk.ledger.state.jobs[name].claim
    if entry is None or claim is None or claim.epoch != entry.sequence:
        raise LostRaceError(f"job {name} is not free any more")
    return claim


class _Try:
    """One try at a job, under one claim."""

    def __init__(self, desk: Desk, room: Room, name: str, claim: Claim) -> None:
        self._desk = desk
        self._room = room
        self._name = name
        self._claim = claim
        self._job = desk.ledger.state.jobs[name]
        self._scratch = room.places.scratch / folder_name(name)

    def go(self) -> None:
        try:
            sent = self._done()
        except (TransientError, LostRaceError):
            raise  # nothing is wrong with the work: the next turn goes on
        except BadInputError as error:
            self._say(ClaimReleased(job=self._name, epoch=self._claim.epoch, reason=str(error)))
            raise
        except RelayError as error:
            said = str(error)[-4000:]
            self._say(TryFailed(job=self._name, epoch=self._claim.epoch, said=said))
            raise FailedTryError(f"{self._name} was not done: {said.rpartition(chr(10))[2]}") from error
        LOG.info("%s did %s: %s", self._desk.site, self._name, sent.version.name)
        self._put_away(sent)

    def _done(self) -> Sent:
        output = self._work()
        note = f"made by {self._job.stage}"
        sending = Sending(output, self._job.reel, note=note, job=self._name, may_grow=True)
        return self._patiently(lambda: send(self._desk, sending, StopWatch(self._room)))

    def _work(self) -> Path:
        """Return the folder with what the stage's program made of the job's inputs."""
        shutil.rmtree(self._scratch, ignore_errors=True)  # of a try that was killed
        inputs, output = self._scratch / "input", self._scratch / "output"
        with in_our_words(str(self._scratch), "make room to work in"):
            inputs.mkdir(parents=True)
            output.mkdir()
        for version in self._job.inputs:
            self._fetch(version, inputs / folder_name(version))
        one = inputs / folder_name(self._job.inputs[0]) if len(self._job.inputs) == 1 else inputs
        words = {"input": str(one), "inputs": str(inputs), "output": str(output)}
        self._run({**words, "job": self._name, "reel": self._job.reel})
        return output

    def _fetch(self, version: VersionName, target: Path) -> None:
        received = self._patiently(lambda: receive(self._desk, version, target, StopWatch(self._room)))
        if not received.fetched.whole:
            raise BadInputError(f"{version} did not arrive whole; see entry {received.receipt.entry}")

    def _run(self, words: dict[str, str]) -> None:
        stage = stage_of(self._desk.ledger.state, self._job)
        command = self._command(stage, words)
        ran = run(
            command,
            self._scratch,
            stage.time_limit,
            self._room.clock,
            is_stopping=self._room.stopping.is_set,
            environment=program_environment(),
        )
        self._room.check_going_on()
        if ran.code is None:
            raise FailedTryError(f"{ran.said}\nstopped after its time limit of {stage.time_limit} s".strip())
        if ran.code != 0:
            raise FailedTryError(f"{ran.said}\n{command[0]} ended with exit code {ran.code}".strip())

    def _command(self, stage: Stage, words: dict[str, str]) -> list[str]:
        """Return the program to run: one of ours that the stage names, or the stage's own."""
        kind = KINDS.get(stage.command[0])
        if kind is None:
            return [_PLACE.sub(lambda found: words[found[1]], part) for part in stage.command]
        folders = self._scratch, Path(words["input"]), Path(words["output"])
        return kind(self._desk.ledger.state, self._job, *folders, list(stage.command[1:]))

    def _patiently(self, work: Callable[[], Result]) -> Result:
        """Try again while the line is down: what was made so far is worth waiting for."""
        give_up, wait = self._room.clock.ticks() + _OUTAGE, 1.0
        while True:
            self._room.check_going_on()
            try:
                return work()
            except TransientError as error:
                self._room.check_going_on()
                if self._room.clock.ticks() > give_up:
                    raise
                LOG.warning("%s waits to go on with %s: %s", self._desk.site, self._name, error)
            self._room.stopping.wait(wait)
            wait = min(_LONGEST_WAIT, wait * 2)

    def _say(self, word: TryFailed | ClaimReleased) -> None:
        def decide(state: State, _now: object) -> list[Word] | None:
            claim = job_named(state, self._name).claim
            return [word] if claim and claim.epoch == self._claim.epoch else None

        self._desk.ledger.append(self._desk.pen, decide)
        shutil.rmtree(self._scratch, ignore_errors=True)

    def _put_away(self, sent: Sent) -> None:
        """Keep what was made, so that it can supply unchanged frames later; the bucket has it in any case."""
        output, place = self._scratch / "output", self._room.places.sent / folder_name(sent.version.name)
        try:
            output.rename(place)
            self._desk.arrivals.note(place, sent.version.name, sent.version.manifest)
        except OSError as error:
            LOG.warning("%s is in the bucket, but not kept at %s: %s", sent.version.name, place, error.strerror)
        shutil.rmtree(self._scratch, ignore_errors=True)
