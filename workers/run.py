"""What `relay site run` and `relay sweep` do. Loaded through entry points: the core knows nothing of workers."""

import logging
import os
import random
import signal
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from relay.errors import RefusedError, RelayError
from relay.settings import Home, SiteFile
from relay.wiring import open_desk
from workers.hooks import Teller, read_hooks
from workers.lanes import Lanes, lanes_of
from workers.locks import held
from workers.places import Places
from workers.room import Room, StoppedError, tell_trouble
from workers.turn import Lane, Turn

LOG = logging.getLogger("relay.workers")

STOP_PATIENCE = 20.0
"""Seconds that lanes get to reach a safe place; then they are cut off, which is safe as well, but costs an object."""

_STEP = 1.0  # seconds


def run(
    home: Home,
    *,
    folder: Path,
    every: float = 60.0,
    settle: float = 120.0,
    broker: str | None = None,
    embedded: bool = False,
    doers: int = 1,
) -> None:
    """Work for the site at `home` until told to stop. Raises RefusedError where another worker does already."""
    room = Room(Places(folder.expanduser().absolute()).open(), home.locks, settle, every)
    site = home.read()
    with ExitStack() as house:
        _be_the_only_one(house, home)
        _stop_on_signals(house, room.stopping)
        address = broker or home.broker_address
        if embedded and address is None:
            from workers.broker import embedded_broker

            address = house.enter_context(embedded_broker(home))
        lanes = Lanes(room, lambda: open_turn(home, room), doers)
        if address:
            _open_ear(house, room, lanes, site, address)
        LOG.info("%s works in %s; looks every %.0f s%s", site.site, folder, every, ", and when rung" if address else "")
        lanes.start()
        _sweep_until_stopped(room, lanes)
        _stop(lanes, site.site)


@contextmanager
def open_turn(home: Home, room: Room) -> Iterator[Turn]:
    """Open a desk, and what takes turns at it."""
    with open_desk(home) as desk:
        hooks, told = home.folder / "hooks.toml", home.folder / "told"
        yield Turn(desk, room, lambda: Teller(desk, read_hooks(hooks), told, room.plans))


def sweep(home: Home, *, folder: Path, settle: float = 120.0) -> dict[str, int | None]:
    """Take one turn of every lane, and return what each did; None: another worker of this site is at it."""
    room = Room(Places(folder.expanduser().absolute()).open(), home.locks, settle)
    with ExitStack() as house:
        _stop_on_signals(house, room.stopping)
        turn = house.enter_context(open_turn(home, room))
        did = {Lane.LOOK.value: _one_turn(turn, room, Lane.LOOK)}  # where even this fails, so does all else
        return did | _other_turns(turn, room)


def _other_turns(turn: Turn, room: Room) -> dict[str, int | None]:
    did: dict[str, int | None] = {}
    troubles: list[RelayError] = []
    for lane in (lane for lane in Lane if lane is not Lane.LOOK):
        try:
            did[lane.value] = _one_turn(turn, room, lane)
        except StoppedError:
            raise
        except RelayError as error:
            tell_trouble(turn.site, error)
            troubles.append(error)
    if troubles:
        raise troubles[0]
    if any(did.values()):
        _one_turn(turn, room, Lane.LOOK)  # what was done opens jobs
    return did


def _one_turn(turn: Turn, room: Room, lane: Lane) -> int | None:
    name = f"{lane}-1" if lane is Lane.DO else lane.value
    with held(room.locks / name) as mine:
        return turn.run(lane) if mine else None


def _be_the_only_one(house: ExitStack, home: Home) -> None:
    if not house.enter_context(held(home.locks / "worker")):
        raise RefusedError(
            f"a worker of the site at {home.folder} is running on this machine already: one is enough; "
            "`relay sweep` may be run beside it"
        )


def _stop_on_signals(house: ExitStack, stopping: threading.Event) -> None:
    """Let SIGTERM and Control-C ask for a stop; a second one means it."""

    def asked(number: int, _frame: object) -> None:
        if stopping.is_set():
            os._exit(128 + number)  # whatever is under way is found by the next start
        stopping.set()

    if threading.current_thread() is threading.main_thread():
        for number in (signal.SIGTERM, signal.SIGINT):
            before = signal.signal(number, asked)
            house.callback(signal.signal, number, before)


def _sweep_until_stopped(room: Room, lanes: Lanes) -> None:
    lanes.sweep()
    # A little off the beat, or all sites that were started together would always look together.
    while not room.stopping.wait(room.every * random.uniform(0.9, 1.0)):  # noqa: S311  guards nothing
        lanes.sweep()


def _stop(lanes: Lanes, site: str) -> None:
    if lanes.stop(STOP_PATIENCE):
        LOG.info("%s has stopped", site)
        return
    LOG.warning("%s was stopped in the middle of a transfer: the next start goes on from there", site)
    logging.shutdown()
    os._exit(0)  # a thread that waits for a line that is dead would hold us up for minutes


def _open_ear(house: ExitStack, room: Room, lanes: Lanes, site: SiteFile, broker: str) -> None:
    try:
        from workers.ear import watch
    except ImportError as error:
        raise RefusedError(
            f"a broker is named, but what speaks to it is not installed ({error.name}): "
            "`pip install 'relay-handoff[workers]'`, or name no broker"
        ) from error
    house.enter_context(watch(room, site, broker, lambda kind: lanes.ring(lanes_of(kind))))
