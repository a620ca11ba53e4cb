"""Movies and stills made by a process of its own, since strangers' pictures are decoded for them."""

import subprocess
import sys
from pathlib import Path

from pydantic import BaseModel

from relay.errors import RefusedError
from relay.settings import program_environment


def made(module: str, order: BaseModel, folder: Path, target: Path) -> Path:
    """Let `module`, in a process of its own, make by `order` what is to be `target`; return where in `folder` it lies.

    Raises RefusedError, with the last line that the process said.
    """
    slip, place = folder / "order.json", folder / f"made{target.suffix or '.mov'}"
    slip.write_text(order.model_dump_json(), encoding="utf-8")
    done = subprocess.run(  # noqa: S603  our own module
        [sys.executable, "-P", "-m", module, str(slip), str(place)],
        capture_output=True,
        text=True,
        check=False,
        env=program_environment(),
    )
    if done.returncode != 0:
        said = done.stderr.strip().splitlines()[-1:] or [f"its maker ended with {done.returncode}"]
        raise RefusedError(
            f"{target} was not made: {said[0].removeprefix('no movie: ').removeprefix('no comparison: ')}"
        )
    return place
