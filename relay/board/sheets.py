"""Pages rendered once for all who see the same; what belongs to one session is filled in as each is given out.

A page is rendered for somebody without a name, and keeps open slots for the session's token, the operation ids of its
buttons, the name in its head and what was just said. It serves everybody of the same role, site and holder until
something changes or the minute is over. A page that is open already asks for it bare, with its slots empty, and fills
them itself: that is the same for all of them, compressed once.
"""

import asyncio
import gzip
import re
import secrets
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass

from markupsafe import escape
from starlette.concurrency import run_in_threadpool

from relay.board.guard import masked
from relay.board.rows.view import Viewer

KEPT = 128
"""Pages that are kept at once; the longest unused go first. The heaviest has some 150 kB."""

LOOKED_AT = 3
"""Changes after which a page that nobody asked for any more is not rendered ahead: whoever looks asks after each."""

AHEAD = 32
"""Pages that are rendered ahead at most, those asked for last first."""

TIGHT = 5
"""How tightly bare pages are compressed: a tenth larger than the tightest, in half of the time."""

_MARK = secrets.token_hex(16)
"""Nobody outside this process can write a slot."""

TOKEN, OP, NAME, SAID = (f"slot-{_MARK}-{what}" for what in ("token", "op", "name", "said"))
_SLOT = re.compile(f"({TOKEN}|{OP}|{NAME}|{SAID})")


@dataclass(frozen=True)
class Sheet:
    """A rendered page with its slots: what stands between them at even places, which slot at odd ones."""

    parts: tuple[str, ...]
    status: int
    zipped: bytes
    """`bare` in UTF-8, compressed by gzip."""

    @classmethod
    def of(cls, text: str, status: int = 200) -> "Sheet":
        parts = tuple(_SLOT.split(text))
        return cls(parts, status, gzip.compress(_bare(parts).encode(), TIGHT, mtime=0))

    @property
    def bare(self) -> str:
        """The page that belongs to nobody: its slots are empty."""
        return _bare(self.parts)

    def filled(self, *, token: str, name: str, said: str) -> str:
        """Return the page of one session: `token` under a fresh mask, each button with an operation id of its own."""
        once = {
            TOKEN: masked(token) if token else "",
            NAME: str(escape(name)),
            SAID: f"<p>{escape(said)}</p>" if said else "",
        }
        slots = (secrets.token_hex(16) if part == OP else once[part] for part in self.parts[1::2])
        filled = [*self.parts]
        filled[1::2] = slots
        return "".join(filled)


def _bare(parts: tuple[str, ...]) -> str:
    return "".join(parts[::2])


def nameless(viewer: Viewer) -> Viewer:
    """Return `viewer` as pages are rendered for them. A site's own board calls whoever sits there by the site."""
    return viewer if viewer.name == viewer.site else viewer.model_copy(update={"name": NAME})


@dataclass
class _Wanted:
    render: Callable[[], Sheet]
    at: int
    """The change after which somebody asked for it last."""


class Sheets:
    """Keeps what was rendered since the last change. For one event loop."""

    def __init__(self) -> None:
        self._known: Hashable = None
        self._changes = 0
        self._sheets: OrderedDict[Hashable, asyncio.Task[Sheet]] = OrderedDict()
        self._wanted: OrderedDict[Hashable, _Wanted] = OrderedDict()

    async def get(self, known: Hashable, key: Hashable, render: Callable[[], Sheet], *, ahead: bool = False) -> Sheet:
        """Return the sheet for `key`, rendered in a thread, once however many ask; all go when `known` is another.

        `ahead`: while it is asked for, `renew` renders it as well, by this `render` at later times.
        """
        self._turn_to(known)
        if ahead:
            self._wanted[key] = _Wanted(render, self._changes)
            self._wanted.move_to_end(key)
            while len(self._wanted) > AHEAD:
                self._wanted.popitem(last=False)
        return await asyncio.shield(self._task(key, render))  # whoever goes away takes it from nobody else

    async def renew(self, known: Hashable) -> None:
        """Render what is looked at, one after the other, so that whoever asks next need not wait. Raises nothing."""
        self._turn_to(known)
        for key, wanted in reversed([*self._wanted.items()]):
            if self._changes - wanted.at > LOOKED_AT:
                self._wanted.pop(key, None)
            elif self._known == known:
                await asyncio.wait([self._task(key, wanted.render)])

    def _turn_to(self, known: Hashable) -> None:
        if known != self._known:
            self._known, self._sheets, self._changes = known, OrderedDict(), self._changes + 1

    def _task(self, key: Hashable, render: Callable[[], Sheet]) -> "asyncio.Task[Sheet]":
        task = self._sheets.get(key)
        if task is None:
            task = asyncio.ensure_future(run_in_threadpool(render))
            self._keep(key, task)
        self._sheets.move_to_end(key)
        return task

    def _keep(self, key: Hashable, task: "asyncio.Task[Sheet]") -> None:
        sheets = self._sheets
        sheets[key] = task
        while len(sheets) > KEPT:
            sheets.popitem(last=False)

        def forget_failure(done: "asyncio.Task[Sheet]") -> None:
            if (done.cancelled() or done.exception() or done.result().status != 200) and sheets.get(key) is done:
                del sheets[key]

        task.add_done_callback(forget_failure)
