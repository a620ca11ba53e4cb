"""Run the bench: `python -m tests.bench.transfer [--rounds 5] [--only frames,small,large,again,far] [--write PAGE]`."""

import argparse
import shutil
import tempfile
from pathlib import Path

from tests.bench.transfer import again, far, report, rounds
from tests.bench.transfer.loads import FRAMES, ONE_FILE, SMALL_FILES
from tests.servers.ceph import Ceph
from tests.servers.seaweedfs import SeaweedFS

PARTS = ("frames", "small", "large", "again", "far")


def measure(parts: set[str], number: int, base: Path) -> str:
    """Return the page of what was measured, with the loads laid out under `base`."""
    figures: list[rounds.Figures] = []
    if "frames" in parts:
        # Ceph is the quicker of the two to store frames; SeaweedFS is bound by its own processor time there.
        figures.append(rounds.run(FRAMES, Ceph, base, number)[0])
        figures.append(rounds.run(FRAMES, SeaweedFS, base, number)[1])
    for load in (SMALL_FILES, ONE_FILE):
        if load.name in parts:
            figures += rounds.run(load, SeaweedFS, base, number)
    sent_again = again.run(SeaweedFS, base, number) if "again" in parts else None
    far_from = (SeaweedFS, Ceph) if "far" in parts else ()
    line = [each for server in far_from for each in far.run(server, base, max(1, number // 2))]
    return report.page(figures, sent_again, line, number)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--rounds", type=int, default=5)
    asked.add_argument("--only", default=",".join(PARTS))
    asked.add_argument("--write", type=Path)
    asked.add_argument("--under", type=Path, default=None, help="the disk to measure on")
    given = asked.parse_args()
    base = Path(tempfile.mkdtemp(prefix="relay-bench-", dir=given.under))
    try:
        page = measure(set(given.only.split(",")), given.rounds, base)
    finally:
        shutil.rmtree(base)
    print(page)
    if given.write:
        report.write(page, given.write)


if __name__ == "__main__":
    main()
