"""A site's copy of the ledger, whose process may be killed before, amid and after each write."""

from collections.abc import Sequence
from pathlib import Path

from relay.ledger.copy import NO_HEAD, Head, LocalCopy, check_same
from relay.model import digest_of
from tests.faults.simulation.world import Killed, World


class FragileCopy(LocalCopy):
    """The real one, over real files."""

    def __init__(self, folder: Path, world: World) -> None:
        super().__init__(folder)
        self._world = world

    def _write(self, raws: Sequence[bytes], after: Head) -> None:
        self._world.strike()
        try:
            self._world.strike()
        except Killed:
            with self._entries.open("r+b" if after.length else "w+b") as file:
                file.truncate(after.length)
                file.seek(after.length)
                file.write(b"".join(raws[after.sequence + 1 :])[: self._world.chance.randrange(400)])
            raise
        super()._write(raws, after)

    def _write_head(self, head: Head) -> None:
        self._world.strike()
        super()._write_head(head)
        self._world.strike()


class Shelf:
    """What outlasts a site's processes, where no files are used."""

    def __init__(self) -> None:
        self.raws: list[bytes] = []
        self.head = NO_HEAD


class RememberedCopy:
    """The same promises without files, for thousands of seeds."""

    def __init__(self, shelf: Shelf, world: World) -> None:
        self._shelf = shelf
        self._world = world

    def head(self) -> Head:
        return self._shelf.head

    def entries(self) -> list[bytes]:
        return self._shelf.raws[: self._shelf.head.sequence + 1]

    def drop_entries(self) -> None:
        raise AssertionError("nothing damages a shelf")

    def keep(self, raws: Sequence[bytes]) -> bool:
        shelf = self._shelf
        if 0 <= shelf.head.sequence < len(raws):
            check_same(shelf.head, digest_of(raws[shelf.head.sequence]))
        if len(raws) > shelf.head.sequence + 1:
            self._world.strike()
            shelf.raws = list(raws)
            self._world.strike()
            shelf.head = Head(sequence=len(raws) - 1, digest=digest_of(raws[-1]), length=sum(map(len, raws)))
            self._world.strike()
        return len(raws) > shelf.head.sequence
