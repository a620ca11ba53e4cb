"""Remembers what costs to reckon or to read: rows of pages, reports of inspections."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Any

KEPT = 64
"""How many are kept: rows of some pages for some viewers at the present minute, reports that are looked at."""


class _Cell:
    """What was reckoned, once it was; whoever wants it meanwhile waits for whoever reckons."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.found: tuple[Any] | None = None


class Kept:
    """What was reckoned, by what it was reckoned from; the longest unused goes first."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._cells: OrderedDict[tuple[Any, ...], _Cell] = OrderedDict()
        self._moment: Any = None

    def turn_to(self, moment: Any) -> None:
        """Forget all that was reckoned before `moment`, if that is another than the last."""
        with self._lock:
            if moment != self._moment:
                self._moment = moment
                self._cells.clear()

    def get(self, key: tuple[Any, ...], reckon: Callable[[], Any]) -> Any:
        """Return what `key` stands for, reckoned once however many ask for it at a time."""
        with self._lock:
            cell = self._cells.setdefault(key, _Cell())
            self._cells.move_to_end(key)
            while len(self._cells) > KEPT:
                self._cells.popitem(last=False)
        with cell.lock:
            if cell.found is None:
                cell.found = (reckon(),)
            return cell.found[0]
