"""Forecasts and what-ifs in a process of their own: while one is reckoned, pages have this process to themselves.

The other process is told the state and the question in lines of JSON and answers in lines of JSON. Its environment
holds nothing that opens stores or brokers; it reads no file, asks no network, and ends when this one does.
"""

import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime
from typing import IO, Any, Protocol

from relay.board.rows.foreseen import Foreseen, foreseen
from relay.board.rows.view import Outlook
from relay.clock import SYSTEM_CLOCK, Clock
from relay.errors import RefusedError, RelayError, TransientError
from relay.forecast.ground import Ground
from relay.forecast.outlook import Forecast, beside, forecast
from relay.forecast.patience import EXACT, patience
from relay.forecast.supposing import supposed
from relay.ledger.state import State
from relay.model import Frozen
from relay.settings import program_environment
from relay.shifts.calendar import NeverOpensError

SECONDS = 1.0
"""How long a better plan is looked for; the command may be given more."""

SUPPOSED_SECONDS = 0.5
"""The same for what would be if."""

NICE = 10
"""How much the other process stands back where the machine is busy."""


class Reckoned(Frozen):
    """A forecast as rows, and the little of it that other pages show."""

    rows: Foreseen
    outlook: Outlook | None
    """None where nothing is left to do."""


class Reckoner(Protocol):
    """Reckons one thing at a time; may be asked from several threads."""

    def today(self, state: State, now: datetime) -> Reckoned:
        """Return a forecast of `state`. Raises RefusedError where something is impossible, TransientError."""
        ...

    def then(self, texts: tuple[str, ...]) -> Foreseen:
        """Return what today's would be if `texts` were so. Raises RefusedError, TransientError."""
        ...

    def stop(self) -> None:
        """Give up what can be given up at once."""
        ...


class Here:
    """Reckons in this process."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._today: Forecast | None = None

    def today(self, state: State, now: datetime) -> Reckoned:
        try:
            found = forecast(Ground.of(state, now), patience(self._clock, SECONDS), exact_seconds=EXACT * SECONDS)
        except NeverOpensError as error:
            raise RefusedError(str(error)) from error
        self._today = found
        return Reckoned(rows=foreseen(found), outlook=_outlook(found))

    def then(self, texts: tuple[str, ...]) -> Foreseen:
        today = self._today
        if today is None:
            raise RefusedError("there is no forecast of today to suppose anything beside: see why, under Forecast")
        ground, longest = today.ground, SUPPOSED_SECONDS
        try:
            for text in texts:
                ground = supposed(ground, text)
            return foreseen(beside(today, ground, patience(self._clock, longest), exact_seconds=EXACT * longest))
        except NeverOpensError as error:
            raise RefusedError(str(error)) from error

    def stop(self) -> None:
        """Do nothing: a plan under way here cannot be cut off."""


def _outlook(found: Forecast) -> Outlook | None:
    if found.is_done:
        return None
    finishes = {reel.reel: reel.finish for reel in found.reels}
    return Outlook(finish=found.finish, low=found.low, high=found.high, reels=finishes)


class Apart:
    """Reckons in a process of its own: begun when it is first needed, and again after it died."""

    def __init__(self) -> None:
        self._alone = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._last: bytes | None = None
        self._is_over = False

    @property
    def pid(self) -> int | None:
        """The other process, while there is one."""
        return self._process.pid if self._process else None

    def today(self, state: State, now: datetime) -> Reckoned:
        asked = _line({"what": "today", "now": now.isoformat()}) + state.to_json() + b"\n"
        with self._alone:
            self._last = asked
            return Reckoned.model_validate_json(self._answer(asked))

    def then(self, texts: tuple[str, ...]) -> Foreseen:
        with self._alone:
            if self._process is None and self._last is not None:
                self._answer(self._last)  # the one that knew what today looks like has died
            return Foreseen.model_validate_json(self._answer(_line({"what": "then", "texts": texts})))

    def stop(self) -> None:
        """End the other process, whatever it is at; nothing is lost but a plan."""
        self._is_over = True
        process = self._process
        if process is not None:
            process.kill()
        with self._alone:  # whoever waits for its answer learns at once that there is none
            if self._process is not None:
                self._buried(self._process)

    def _answer(self, asked: bytes) -> bytes:
        process = self._begun()
        if self._is_over:  # stopped while it was begun
            process.kill()
        assert process.stdin is not None
        assert process.stdout is not None
        with suppress(BrokenPipeError):  # it died; that no answer comes says so
            process.stdin.write(asked)
            process.stdin.flush()
        kind, answer = process.stdout.readline().strip(), process.stdout.readline()
        if not answer.endswith(b"\n"):
            raise TransientError(self._buried(process))
        if kind == b"refused":
            raise RefusedError(json.loads(answer))
        return answer

    def _begun(self) -> subprocess.Popen[bytes]:
        if self._is_over:
            raise TransientError("the board is being stopped: there is no forecast any more")
        if self._process is None:
            # -P: the folder that one stands in may be a stranger's, and is no place to import from.
            command = [sys.executable, "-P", "-m", "relay.board.reckoning"]
            try:
                self._process = subprocess.Popen(  # noqa: S603  our own module
                    command,
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    env=program_environment(),
                    start_new_session=True,  # Ctrl-C is for the board, which ends this one
                )
            except OSError as error:
                raise TransientError(f"no process could be started to reckon a forecast ({error.strerror})") from error
        return self._process

    def _buried(self, process: subprocess.Popen[bytes]) -> str:
        process.kill()
        code = process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()
        self._process = None
        how = f"by signal {-code}" if code < 0 else f"with code {code}"
        return (
            f"the process that reckons forecasts was ended {how}, perhaps for want of memory: "
            "all else goes on, and another is begun within two minutes"
        )


def _line(told: dict[str, Any]) -> bytes:
    return json.dumps(told).encode() + b"\n"


def answers(lines: Iterable[bytes], said: IO[bytes], reckoner: Reckoner) -> None:
    """Answer each question in `lines` on `said`, until there are no more."""
    asking = iter(lines)
    for line in asking:
        told = json.loads(line)
        try:
            found: Frozen
            if told["what"] == "today":
                found = reckoner.today(State.of_json(next(asking)), datetime.fromisoformat(told["now"]))
            else:
                found = reckoner.then(tuple(told["texts"]))
            said.write(b"found\n" + found.model_dump_json().encode() + b"\n")
        except RelayError as error:
            said.write(b"refused\n" + json.dumps(str(error)).encode() + b"\n")
        said.flush()


def main() -> None:
    """Be the other process."""
    os.nice(NICE)
    said = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # a solver that prints must not be taken for an answer
    with suppress(BrokenPipeError):  # the board has gone
        answers(sys.stdin.buffer, said, Here(SYSTEM_CLOCK))
    os._exit(0)  # without tidying up: said's own close would meet the same closed pipe


if __name__ == "__main__":
    main()
