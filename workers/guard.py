"""Runs a program for somebody, and ends it with all that it started when that somebody is gone.

    guard.py PIPE GRACE PROGRAM ARGUMENT...

PIPE is the number of an inherited pipe's reading end. When its other end closes, because whoever held it asked for that
or was killed, the program's group is asked to end, and killed GRACE seconds later. A script of its own, which imports
nothing but the system's own modules: it starts in some milliseconds and goes on whatever happens to its parent.
"""

import os
import select
import signal
import sys

CANNOT_START = 127
"""The exit code that shells use where there is no such program."""


def _started(command: list[str]) -> int:
    defaults = [signal.SIGPIPE, signal.SIGCHLD, signal.SIGINT, signal.SIGTERM]
    return os.posix_spawnp(command[0], command, os.environ, setsigdef=defaults)  # noqa: TID251  handed on as it is


def _ended(child: int) -> int | None:
    done, status = os.waitpid(child, os.WNOHANG)
    return os.waitstatus_to_exitcode(status) if done else None


def _end_all(child: int, wakened: int, grace: float) -> None:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    os.killpg(0, signal.SIGTERM)
    if _ended(child) is None:
        select.select([wakened], [], [], grace)
    os.killpg(0, signal.SIGKILL)


def main(pipe: int, grace: float, command: list[str]) -> int:
    os.set_inheritable(pipe, False)
    wakened, waker = os.pipe()
    os.set_blocking(waker, False)
    signal.set_wakeup_fd(waker)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    try:
        child = _started(command)
    except OSError as error:
        print(f"{command[0]} cannot be started: {error.strerror}", file=sys.stderr, flush=True)  # noqa: T201  who asked reads it
        return CANNOT_START
    while True:
        code = _ended(child)
        if code is not None:
            return code if code >= 0 else 128 - code
        ready, _, _ = select.select([pipe, wakened], [], [])
        if pipe in ready:
            _end_all(child, wakened, grace)
        os.read(wakened, 512)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), float(sys.argv[2]), sys.argv[3:]))
