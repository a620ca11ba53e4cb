"""The `relay` command's outermost edge: where an error becomes a sentence and an exit code."""

import gc
import io
import os
import sys
import threading
import traceback
from contextlib import suppress
from pathlib import Path
from types import TracebackType

INTERRUPTED = 130
CALL_SOMEBODY = 4
STOPPED = "relay: stopped. Nothing is half-done under its final name; run the same command again to go on."


def main() -> None:
    """Run the command; what goes wrong is said in a sentence, and the exit code says what to do."""
    sys.excepthook = _unforeseen
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a path need not be text, nor a terminal speak UTF-8
    try:
        _run()
    except KeyboardInterrupt:
        _say(STOPPED)
        sys.exit(INTERRUPTED)
    except SystemExit as end:
        _leave(end.code)
        raise


def _leave(code: str | int | None) -> None:
    """End at once where the bell still rings: it may be loading libraries, and to take them down under it can crash."""
    if isinstance(code, str) or threading.active_count() == 1:
        return
    from relay.doorbell import RINGING

    if any(each.name == RINGING for each in threading.enumerate()):
        for stream in (sys.stdout, sys.stderr):
            with suppress(OSError):
                stream.flush()
        os._exit(code or 0)


def _run() -> None:
    gc.disable()  # loading leaves no garbage, and looking for some takes a quarter of its time
    from pydantic import ValidationError

    from relay.cli.commands import command  # loading may be interrupted, too
    from relay.errors import RefusedError, RelayError
    from relay.settings import first_fault
    from relay.wording import printable

    gc.freeze()
    gc.enable()
    try:
        command()
    except RelayError as error:
        _say(f"relay: {printable(str(error))}")
        sys.exit(error.exit_code)
    except (
        ValidationError
    ) as error:  # something typed that no ledger can hold; files are translated where they are read
        _say(f"relay: this cannot be said: {printable(first_fault(error))}. Change it, then run this again")
        sys.exit(RefusedError.exit_code)
    except SystemExit as end:
        if end.code == INTERRUPTED:  # typer ends so at Control-C, without a word
            _say(STOPPED)
        raise


def _say(text: str) -> None:
    print(text, file=sys.stderr)  # noqa: T201  errors are for people: they go to the error stream


def _unforeseen(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """Keep the trace for whoever mends Relay, and tell the person what to do."""
    place = Path.cwd() / "relay-fault.txt"
    try:
        place.write_text("".join(traceback.format_exception(kind, error, trace)), encoding="utf-8")
        shown = str(place) if str(place).isprintable() else ascii(str(place))
        kept = f"The details are in {shown}: send that file to whoever looks after Relay."
    except OSError:
        kept = f"The details could not be kept ({kind.__name__}: {str(error)!r})."
    _say(f"relay: something happened that Relay did not foresee; nothing was deleted. {kept}")
    sys.exit(CALL_SOMEBODY)
