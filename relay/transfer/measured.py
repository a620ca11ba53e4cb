"""How good a print is at a place: some of its frames brought, with their neighbours, and measured."""

import tempfile
from collections.abc import Sequence
from pathlib import Path

from relay.errors import RefusedError
from relay.ledger.state import Version
from relay.media.measuring import Triple, measured
from relay.media.quality import Look, middle_of
from relay.media.sequence import files_by_frame
from relay.model import FrameRange, is_in
from relay.settings import program_environment
from relay.transfer.desk import Desk
from relay.transfer.showing import bring_files

SAMPLES = 5
"""Frames of a range that are measured, evenly spread over it."""


def quality_at(desk: Desk, version: Version, frames: Sequence[FrameRange], samples: int = SAMPLES) -> Look:
    """Return the middle figures of some frames of `version`, which are fetched for it. Needs the extra `media`.

    Raises RefusedError where it holds none of `frames`, or they cannot be decoded.
    """
    files = files_by_frame(desk.manifests.read(version.manifest), version.scan_map)
    if not files:
        raise RefusedError(f"{version.name} holds no numbered frames that are tied to the reel: it cannot be measured")
    within = [number for number in sorted(files) if is_in(number, frames)]
    if not within:
        raise RefusedError(f"{version.name} holds none of the frames that were asked for: `relay gaps` says who does")
    chosen = sorted({within[len(within) * (2 * turn + 1) // (2 * samples)] for turn in range(samples)})
    with tempfile.TemporaryDirectory(prefix="relay-measure-") as folder:
        place = Path(folder)
        wanted = [[each if each in files else frame for each in (frame - 1, frame, frame + 1)] for frame in chosen]
        needed = {number: files[number] for three in wanted for number in three}
        bring_files(desk, version, needed.values(), place)
        triples: list[Triple] = [
            (str(place / files[a].path), str(place / files[b].path), str(place / files[c].path)) for a, b, c in wanted
        ]
        return middle_of(measured(triples, program_environment()))
