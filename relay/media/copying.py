"""Makes a reference copy in a process of its own: `python -m relay.media.copying SLIP INPUT OUTPUT`.

SLIP is a JSON file with what to burn in; INPUT a package's folder; the movie appears in OUTPUT. What cannot be done is
said in one sentence on standard error, with exit code 2.
"""

import sys
from fractions import Fraction
from pathlib import Path

from pydantic import Field, ValidationError

from relay.errors import RefusedError
from relay.media.allowance import for_copy
from relay.media.memory import address_space, limit_to
from relay.media.package import contents_of
from relay.media.reference import PRESETS, Slip, Source, copy_reel
from relay.model import Frozen, ScanMap

GAP_LIMIT = 100_000  # frames; a longer gap is a wrong map


class Order(Frozen):
    """What a reference copy is to be, as it stands in the slip's file."""

    element: str
    reel: str
    gauge: str
    rate: str
    shown_at: str = "24"
    is_held: bool = True
    preset: str = Field(default="h264", pattern="^(h264|prores)$")
    scan_map: ScanMap | None = None


def copied(order: Order, package: Path, output: Path) -> Path:
    """Make the copy, and return where it lies. Raises RefusedError, ValueError."""
    paths = [path.relative_to(package).as_posix() for path in package.rglob("*") if path.is_file()]
    contents = contents_of(paths)
    if not contents.runs:
        raise RefusedError(f"{package} holds no numbered frames: there is nothing to copy")
    sources = _sources(package, order, [(number, file.path) for number, file in contents.runs[0].files])
    slip = Slip(
        element=order.element,
        reel=order.reel,
        gauge=order.gauge,
        rate=Fraction(order.rate),
        shown_at=Fraction(order.shown_at),
        is_held=order.is_held,
        first=sources[0].number,
    )
    sound = package / contents.sounds[0] if contents.sounds else None
    target = output / f"{order.element}_{order.reel}_reference.mov"
    base = address_space()
    copy_reel(
        sources, slip, target, sound, PRESETS[order.preset], sized=lambda *shape: limit_to(base + for_copy(*shape))
    )
    return target


def _sources(package: Path, order: Order, files: list[tuple[int, str]]) -> list[Source]:
    """Return every frame from the first to the last, those that lack without a file, by the reel's numbers."""
    tied = order.scan_map or ScanMap.start_mark(files[0][0])
    placed = {shown: package / path for number, path in files if (shown := tied.reel_frame(number)) is not None}
    if not placed:
        raise RefusedError("the scan map ties none of the frames to the reel: give the version another map")
    first, last = min(placed), max(placed)
    if last - first + 1 - len(placed) > GAP_LIMIT:
        raise RefusedError(f"{last - first + 1 - len(placed)} frames lack between {first} and {last}: look at the map")
    return [Source(number, placed.get(number)) for number in range(first, last + 1)]


def main() -> int:
    """Do what the command line says; returns the exit code."""
    slip, package, output = (Path(word) for word in sys.argv[1:4])
    try:
        copied(Order.model_validate_json(slip.read_bytes()), package, output)
    except (RefusedError, ValueError, ValidationError, OSError, MemoryError) as fault:
        print(f"no reference copy: {fault}", file=sys.stderr)  # noqa: T201  for the worker, who keeps the last lines
        return RefusedError.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
