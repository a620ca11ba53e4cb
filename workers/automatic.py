"""Does a job that needs no person: runs the program that its stage names, and hands in what that made."""

import logging
import os
import shutil
import signal
import subprocess
from pathlib import Path

from relay.errors import LostRaceError, RelayError
from relay.ledger.job_state import Claim, Job
from relay.ledger.job_words import JobClaimed, TryFailed
from relay.ledger.state import State
from relay.ledger.words import Word
from relay.ledger.work import job_named, stage_of
from relay.transfer.desk import Desk
from relay.transfer.handover import Sending, receive, send
from workers.life import Life
from workers.places import Places, folder_name

LOG = logging.getLogger("relay.workers")
LAST_WORDS = 2000
"""Characters of what a failed program wrote that are kept with the job."""


class FailedTryError(RelayError):
    """The program did not do it; what it said last is the message."""


def do_job(desk: Desk, places: Places, life: Life, name: str) -> None:
    """Claim the job, do it and hand it in; or say that the try failed. Raises LostRaceError where another has it."""
    claim = _claim(desk, name)
    job = desk.ledger.state.jobs[name]
    with life.beating(name, claim.epoch, claim.lease or 1):
        try:
            output = _work(desk, places, job)
            sent = send(desk, Sending(output, job.reel, note=f"made by {job.stage}", job=name, may_grow=True))
        except FailedTryError as error:
            _say_failed(desk, name, claim.epoch, str(error))
            return
    LOG.info("%s did %s: %s", desk.site, name, sent.version.name)
    _put_away(output, places.sent / folder_name(sent.version.name))


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


def _work(desk: Desk, places: Places, job: Job) -> Path:
    """Return the folder with what the stage's program made of the job's inputs. Raises FailedTryError."""
    stage = stage_of(desk.ledger.state, job)
    scratch = places.scratch / f"{folder_name(job.reel)}-{job.stage}-{job.job.rpartition('/')[2]}"
    shutil.rmtree(scratch, ignore_errors=True)
    inputs, output = scratch / "input", scratch / "output"
    inputs.mkdir(parents=True)
    output.mkdir()
    for version in job.inputs:
        received = receive(desk, version, inputs / folder_name(version))
        if not received.fetched.whole:
            raise FailedTryError(f"{version} did not arrive whole; see receipt {received.receipt.entry}")
    one = inputs / folder_name(job.inputs[0]) if len(job.inputs) == 1 else inputs
    words = {"input": str(one), "inputs": str(inputs), "output": str(output), "job": job.job, "reel": job.reel}
    _run([_filled(part, words) for part in stage.command], scratch, stage.time_limit)
    return output


def _filled(part: str, words: dict[str, str]) -> str:
    for name, value in words.items():
        part = part.replace("{" + name + "}", value)
    return part


def _run(command: list[str], scratch: Path, limit: int) -> None:
    """Run a program without a shell, in a process group of its own that ends with its time limit."""
    said = scratch / "said.txt"
    with said.open("wb") as out:
        try:
            program = subprocess.Popen(  # noqa: S603  the command stands in the production's file, signed by the coordinator
                command,
                cwd=scratch,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        except OSError as error:
            raise FailedTryError(f"{command[0]} cannot be started: {error.strerror}") from error
        try:
            code = program.wait(limit)
        except subprocess.TimeoutExpired:
            os.killpg(program.pid, signal.SIGKILL)
            program.wait()
            raise FailedTryError(f"{_tail(said)}\nstopped after its time limit of {limit} s") from None
    if code != 0:
        raise FailedTryError(f"{_tail(said)}\n{command[0]} ended with exit code {code}")


def _tail(path: Path) -> str:
    return path.read_bytes()[-LAST_WORDS:].decode("utf-8", "replace").strip()


def _say_failed(desk: Desk, name: str, epoch: int, said: str) -> None:
    LOG.warning("%s could not do %s: %s", desk.site, name, said.rpartition("\n")[2])

    def decide(state: State, _now: object) -> list[Word] | None:
        claim = job_named(state, name).claim
        return [TryFailed(job=name, epoch=epoch, said=said)] if claim and claim.epoch == epoch else None

    desk.ledger.append(desk.pen, decide)


def _put_away(output: Path, place: Path) -> None:
    """Move what was made out of the scratch folder, so that it can supply unchanged frames later."""
    try:
        output.rename(place)
    except OSError:
        shutil.rmtree(output, ignore_errors=True)  # it is in the bucket; only a local copy is lost
