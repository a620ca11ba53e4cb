"""A site's worker in a process of its own, that can be killed: `workers_child HOME FOLDER EVERY DOERS [BROKER]`."""

import logging
import sys
from pathlib import Path

from relay.settings import home_of
from workers.run import run


def main(home: str, folder: str, every: str, doers: str, broker: str = "") -> None:
    logging.basicConfig(level=logging.INFO, format="%(asctime)s.%(msecs)03d %(message)s", datefmt="%H:%M:%S")
    logging.getLogger("relay").setLevel(logging.DEBUG)
    run(
        home_of(Path(home)),
        folder=Path(folder),
        every=float(every),
        settle=0.5,
        broker=broker or None,
        doers=int(doers),
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
