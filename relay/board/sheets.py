"""Pages rendered once for all who see the same; what belongs to one session is filled in as each is given out.

A page is rendered for somebody without a name, and keeps open slots for the session's token, the operation ids of its
buttons, the name in its head and what was just said. It serves everybody of the same role, site and holder until
something changes that it could show, or the minute is over. A page that is open already asks for it bare, with its
slots empty, and fills them itself: that is the same for all of them, compressed once.
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
    known: Callable[[], Hashable]
    at: int
    """The change after which somebody asked for it last."""


class Sheets:
    """Keeps what was rendered, until it could look otherwise. For one event loop."""

    def __init__(self) -> None:
        self._changes = 0
        self._sheets: OrderedDict[Hashable, tuple[Hashable, asyncio.Task[Sheet]]] = OrderedDict()
        self._wanted: OrderedDict[Hashable, _Wanted] = OrderedDict()

    async def get(
        self, known: Callable[[], Hashable], key: Hashable, render: Callable[[], Sheet], *, ahead: bool = False
    ) -> Sheet:
        """Return the sheet for `key`, rendered in a thread, once however many ask while `known` returns the same.

        `ahead`: while it is asked for, `renew` renders it as well, by this `render` at later times.
        """
        if ahead:
            self._wanted[key] = _Wanted(render, known, self._changes)
            self._wanted.move_to_end(key)
            while len(self._wanted) > AHEAD:
                self._wanted.popitem(last=False)
        return await asyncio.shield(self._task(known(), key, render))  # whoever goes away takes it from nobody else

    async def renew(self) -> None:
        """After a change, render what is looked at and could look otherwise, one after the other, and forget the rest.

        So whoever asks next need not wait. Raises nothing.
        """
        self._changes += 1
        for key in [key for key, wanted in self._wanted.items() if self._changes - wanted.at > LOOKED_AT]:
            del self._wanted[key]
        for key in self._sheets.keys() - self._wanted.keys():
            del self._sheets[key]
        for key, wanted in reversed([*self._wanted.items()]):
            await asyncio.wait([self._task(wanted.known(), key, wanted.render)])

    def _task(self, known: Hashable, key: Hashable, render: Callable[[], Sheet]) -> "asyncio.Task[Sheet]":
        then, task = self._sheets.get(key, (None, None))
        if task is None or then != known:
            task = asyncio.ensure_future(run_in_threadpool(render))
            self._keep(known, key, task)
        self._sheets.move_to_end(key)
        return task

    def _keep(self, known: Hashable, key: Hashable, task: "asyncio.Task[Sheet]") -> None:
        sheets = self._sheets
        sheets[key] = known, task
        while len(sheets) > KEPT:
            sheets.popitem(last=False)

        def forget_failure(done: "asyncio.Task[Sheet]") -> None:
            is_failure = done.cancelled() or done.exception() or done.result().status != 200
            if is_failure and sheets.get(key, (None, None))[1] is done:
                del sheets[key]

        task.add_done_callback(forget_failure)
