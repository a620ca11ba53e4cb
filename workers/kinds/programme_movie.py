"""`command = ["programme-movie"]`: a reference movie of the programme, from the cut list and reels among the inputs."""

import sys
from collections.abc import Iterable
from pathlib import Path

from relay.errors import RefusedError
from relay.ledger.job_state import Job
from relay.ledger.state import State
from relay.media.eyes import check_media
from relay.media.package import kind_of
from relay.media.showing import LINES, Strip
from relay.model import VersionName, reel_of
from relay.programme.cutlist import CutList
from relay.programme.playing import movie_order
from relay.transfer.cut_lists import KINDS as LISTS
from relay.transfer.cut_lists import LIST_LIMIT, parsed
from relay.transfer.showing import sound_in, strip_of
from workers.places import folder_name


def program(state: State, job: Job, scratch: Path, package: Path, output: Path, words: list[str]) -> list[str]:
    """Write down what the movie is to be, and return the program that makes it.

    `words` may be how many lines it is high, such as `1080`. Raises RefusedError.
    """
    check_media()
    lines = _lines(words)
    folders = _folders(job, package)
    cut_list = _cut_list(state, folders.values())
    found = (strip_of(reel_of(name), folder, state.versions[name].scan_map) for name, folder in folders.items())
    strips: dict[str, Strip] = {}
    for strip in found:
        if strip is not None and (strip.movie or strip.reel not in strips):  # a reference copy goes before frames
            strips[strip.reel] = strip
    order = movie_order(cut_list, list(strips.values()), sound_in(folders.values()), job.reel, lines)
    slip = scratch / "order.json"
    slip.write_text(order.model_dump_json(), encoding="utf-8")
    target = output / f"{job.reel.replace('/', '_')}_programme.mov"
    return [sys.executable, "-P", "-m", "relay.media.playing", str(slip), str(target)]


def _lines(words: list[str]) -> int:
    if not words:
        return LINES
    if len(words) > 1 or not words[0].isdecimal() or not 120 <= int(words[0]) <= 2160 or int(words[0]) % 2:
        raise RefusedError(f"{' '.join(words)!r} means nothing to a programme's movie: write an even 120 to 2160 lines")
    return int(words[0])


def _folders(job: Job, package: Path) -> dict[VersionName, Path]:
    if len(job.inputs) == 1:
        return {job.inputs[0]: package}
    return {name: package / folder_name(name) for name in job.inputs}


def _cut_list(state: State, folders: Iterable[Path]) -> CutList:
    """Return the one cut list among the inputs. Raises RefusedError."""
    found: list[CutList] = []
    for folder in folders:
        for path in sorted(folder.rglob("*")):
            if kind_of(path.name) in LISTS and path.stat().st_size <= LIST_LIMIT:
                try:
                    found.append(parsed(path.read_bytes(), state).cut_list)
                except ValueError:
                    continue  # another paper
    if len(found) != 1:
        raise RefusedError(f"the inputs hold {len(found)} cut lists: a programme's movie is made by one")
    return found[0]
