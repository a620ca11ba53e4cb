"""Pages rendered once for all who see the same; what belongs to one session is filled in as each is given out.

A page is rendered for somebody without a name, and keeps open slots for the session's token, the operation ids of its
buttons, the name in its head and what was just said. It serves everybody of the same role, site and holder until
something changes or the minute is over.
"""

import asyncio
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

_MARK = secrets.token_hex(16)
"""Nobody outside this process can write a slot."""

TOKEN, OP, NAME, SAID = (f"slot-{_MARK}-{what}" for what in ("token", "op", "name", "said"))
_SLOT = re.compile(f"({TOKEN}|{OP}|{NAME}|{SAID})")


@dataclass(frozen=True)
class Sheet:
    """A rendered page with its slots: what stands between them at even places, which slot at odd ones."""

    parts: tuple[str, ...]
    status: int = 200

    @classmethod
    def of(cls, text: str, status: int = 200) -> "Sheet":
        return cls(tuple(_SLOT.split(text)), status)

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


def nameless(viewer: Viewer) -> Viewer:
    """Return `viewer` as pages are rendered for them. A site's own board calls whoever sits there by the site."""
    return viewer if viewer.name == viewer.site else viewer.model_copy(update={"name": NAME})


class Sheets:
    """Keeps what was rendered since the last change. For one event loop."""

    def __init__(self) -> None:
        self._known: Hashable = None
        self._sheets: OrderedDict[Hashable, asyncio.Task[Sheet]] = OrderedDict()

    async def get(self, known: Hashable, key: Hashable, render: Callable[[], Sheet]) -> Sheet:
        """Return the sheet for `key`, rendered in a thread, once however many ask; all go when `known` is another."""
        if known != self._known:
            self._known, self._sheets = known, OrderedDict()
        task = self._sheets.get(key)
        if task is None:
            task = asyncio.ensure_future(run_in_threadpool(render))
            self._keep(key, task)
        self._sheets.move_to_end(key)
        return await asyncio.shield(task)  # whoever goes away takes it from nobody else

    def _keep(self, key: Hashable, task: "asyncio.Task[Sheet]") -> None:
        sheets = self._sheets
        sheets[key] = task
        while len(sheets) > KEPT:
            sheets.popitem(last=False)

        def forget_failure(done: "asyncio.Task[Sheet]") -> None:
            if (done.cancelled() or done.exception() or done.result().status != 200) and sheets.get(key) is done:
                del sheets[key]

        task.add_done_callback(forget_failure)
