"""What a transfer tells while it runs, so that the command can draw it."""

from collections.abc import Callable
from typing import Protocol

Onlooker = Callable[[str, memoryview], None]
"""Shown each file that is one object, by its path, while its whole bytes are in memory. Called by many threads."""


class Watcher(Protocol):
    """Told how far a transfer is; called from many threads at once, so every answer must be quick."""

    def expect(self, files: int, size: int) -> None:
        """All that there is: `files` files of `size` bytes together."""

    def moved(self, size: int) -> None:
        """`size` more bytes are where they belong; bytes that were there already count too."""

    def finished(self, path: str) -> None:
        """One more file is done."""

    def resting(self, seconds: float, why: str) -> None:
        """Nothing happens for `seconds`, because of `why`."""


class Unwatched:
    """A watcher for whom nobody looks."""

    def expect(self, files: int, size: int) -> None:
        pass

    def moved(self, size: int) -> None:
        pass

    def finished(self, path: str) -> None:
        pass

    def resting(self, seconds: float, why: str) -> None:
        pass


UNWATCHED: Watcher = Unwatched()
