"""What if, on the board: a plan beside today's, one at a time, so that nobody's curiosity takes all of the machine."""

import threading
from collections import OrderedDict
from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import BaseModel, Field

from relay.board.reckoning import Reckoner
from relay.board.rows.chart import By, Far
from relay.board.rows.foreseen import Foreseen
from relay.errors import RefusedError, TransientError

WAIT = 10.0
"""Seconds that somebody waits for the plans of others."""

KEPT = 16
MOST = 6
"""Things that may be supposed at once."""

Word = Annotated[str, Field(max_length=40)]
What = Literal["closed", "hand", "print", "line"]


class Asked(BaseModel):
    """What the form says, and what was supposed and shown before."""

    what: What
    supposed: Annotated[tuple[Annotated[str, Field(max_length=120)], ...], Field(alias="if", max_length=12)] = ()
    by: By = "site"
    far: Far = "weeks"
    site: Word = ""
    stage: Word = ""
    element: Word = ""
    first: date | None = None
    last: date | None = None
    times: Word = ""

    def text(self) -> str:
        """Return it as `relay forecast --what-if` takes it. Raises RefusedError where a day is missing."""
        match self.what:
            case "closed":
                return f"{self.site} closed {self._day()}" + (f" to {self.last}" if self.last else "")
            case "hand":
                return f"{self.site} one more at {self.stage}"
            case "print":
                return f"{self.element} arrives {self._day()} at {self.site}"
            case "line":
                return f"{self.site} line {self.times}"

    def _day(self) -> date:
        if self.first is None:
            raise RefusedError("no day was given: choose one, such as 2027-01-05")
        return self.first


class Supposing:
    """Plans on other grounds; the last ones are kept."""

    def __init__(self, reckoner: Reckoner) -> None:
        self._reckoner = reckoner
        self._alone = threading.Lock()
        self._kept: OrderedDict[tuple[int, datetime, tuple[str, ...]], Foreseen] = OrderedDict()

    def then(self, today: Foreseen, texts: tuple[str, ...]) -> Foreseen:
        """Return what would be if `texts` were so. Raises RefusedError, TransientError while others ask."""
        if len(texts) > MOST:
            raise RefusedError(f"{len(texts)} things are too many to suppose at once: {MOST} is the most")
        if not self._alone.acquire(timeout=WAIT):
            raise TransientError("others are asking what if: ask again in a moment")
        try:
            key = (today.entry, today.now, texts)
            if key not in self._kept:
                self._kept[key] = self._reckoner.then(texts)
            self._kept.move_to_end(key)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
            return self._kept[key]
        finally:
            self._alone.release()
