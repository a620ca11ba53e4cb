"""Tells open pages that something changed: server-sent events, a few bytes each; the page then asks for itself anew.

Pages that are looked at are rendered before that is told, so that whoever asks after it need not wait.
"""

import asyncio
import json
from collections.abc import AsyncIterator

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import StreamingResponse

from relay.board.door import AskedInError, Asking, board_of, viewer_of
from relay.board.web import known_of

router = APIRouter(include_in_schema=False)

LOOK = 0.25
"""Seconds between two looks at what there is to tell; no request to anybody."""

PATIENCE = 0.5
"""Seconds after which open pages are told all the same: some page may wait for a store that is slow."""

READY = 0.05
"""Seconds between two looks at whether pages must be rendered anew."""

GONE_EVERY = 8
"""Looks between two at whether the page is still open: that look costs more than all the rest."""

KEEP_ALIVE = 15.0
"""Seconds after which a line is sent in any case, so that nobody on the way closes it."""

LONGEST = 200
"""Pages that may listen at once; more are told to come back."""


async def renewing(app: FastAPI) -> None:
    """Render what is looked at after each change, and say then that it is ready, until the board stops."""
    state, done, task = app.state, None, None
    while not state.is_stopping:
        picture, known = state.board.watch.picture, known_of(state.board)
        if known != done:
            task = asyncio.create_task(state.sheets.renew())
            await asyncio.wait([task], timeout=PATIENCE)
            state.ready, done = picture, known
        await asyncio.sleep(READY)
    if task:
        task.cancel()


@router.get("/live")
async def live(request: Request, viewer: Asking) -> StreamingResponse:  # noqa: ARG001  only who may look may listen
    """Give an event at once and after every change."""
    return StreamingResponse(_events(request), media_type="text/event-stream", headers={"x-accel-buffering": "no"})


async def _events(request: Request) -> AsyncIterator[str]:
    board, state = board_of(request), request.app.state
    if state.listening >= LONGEST:
        yield "retry: 30000\n\n"
        return
    state.listening += 1
    try:
        told, silent, looks = -1, 0.0, 0
        yield "retry: 2000\n\n"
        while not state.is_stopping and (looks % GONE_EVERY or not await request.is_disconnected()):
            looks += 1
            board.watch.asked()
            picture = state.ready
            if picture.number != told:
                told, silent = picture.number, 0.0
                facts = {
                    "number": told,
                    "entry": picture.state.sequence,
                    "stale": picture.stale_since is not None,
                    "listening": state.listening,
                }
                yield f"data: {json.dumps(facts)}\n\n"
            elif silent >= KEEP_ALIVE:
                _ = viewer_of(request)  # whose right was taken back is told no more
                silent = 0.0
                yield ": still here\n\n"
            await asyncio.sleep(LOOK)
            silent += LOOK
    except AskedInError:
        return
    finally:
        state.listening -= 1
