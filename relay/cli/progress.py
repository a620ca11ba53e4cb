"""Draws a transfer while it runs: frames, bytes, rate and time left. Quiet where nobody looks, and under a second."""

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from relay.clock import SYSTEM_CLOCK
from relay.media.sequence import is_frame
from relay.transfer.progress import UNWATCHED, Watcher
from relay.wording import printable

if TYPE_CHECKING:  # drawing takes a tenth of a second to load, and where nobody looks nothing is drawn
    from rich.progress import Progress, TaskID

SHOWN_AFTER = 1.0  # seconds


@contextmanager
def watching(doing: str, *, quiet: bool) -> Iterator[Watcher]:
    """Yield a watcher that draws on the terminal's error stream; one that stays quiet where that is no terminal."""
    if quiet or not sys.stderr.isatty():
        yield UNWATCHED
        return
    bar = _Bar(doing)
    try:
        yield bar
    finally:
        bar.stop()


@contextmanager
def waiting(doing: str, *, quiet: bool) -> Iterator[None]:
    """Say on the terminal's error stream what takes its time, where nobody can tell how long."""
    if quiet or not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(f"{doing} ..."):
        yield


class _Bar:
    def __init__(self, doing: str) -> None:
        self._doing = printable(doing)
        self._began = SYSTEM_CLOCK.ticks()
        self._lock = threading.Lock()
        self._files = self._size = self._files_done = self._size_done = 0
        self._noun = "files"
        self._progress: Progress | None = None
        self._task: TaskID

    def expect(self, files: int, size: int) -> None:
        self._files, self._size = files, size

    def moved(self, size: int) -> None:
        with self._lock:
            self._size_done += size
            self._draw()

    def finished(self, path: str) -> None:
        with self._lock:
            self._files_done += 1
            self._noun = "frames" if is_frame(path) else "files"
            self._draw()

    def resting(self, seconds: float, why: str) -> None:
        with self._lock:
            if self._progress is None:
                self._begin()
            if self._progress:
                self._progress.console.print(
                    printable(f"waiting {seconds:.0f} s: {why}"), style="dim", markup=False, highlight=False
                )

    def _draw(self) -> None:
        if self._progress is None:
            if SYSTEM_CLOCK.ticks() - self._began < SHOWN_AFTER:
                return
            self._begin()
        if self._progress:
            files = f"{self._files_done:,} of {self._files:,} {self._noun}"
            self._progress.update(self._task, total=self._size, completed=self._size_done, files=files)

    def _begin(self) -> None:
        from rich.console import Console
        from rich.progress import (
            BarColumn,
            DownloadColumn,
            Progress,
            TextColumn,
            TimeRemainingColumn,
            TransferSpeedColumn,
        )

        columns = (
            TextColumn("{task.description}", markup=False),
            BarColumn(bar_width=24),
            TextColumn("{task.fields[files]}"),
            DownloadColumn(),
            TransferSpeedColumn(),
            TimeRemainingColumn(compact=True),
        )
        self._progress = Progress(*columns, console=Console(stderr=True), transient=True, refresh_per_second=5)
        self._task = self._progress.add_task(self._doing, total=self._size, files="")
        self._progress.start()

    def stop(self) -> None:
        with self._lock:
            if self._progress:
                self._progress.stop()
