"""A fetch in a process of its own that says how much memory it took: `fetch_memory MANIFEST TARGET NOTES STORE...`."""

import sys
from pathlib import Path

from relay.media.manifest import parse_manifest
from relay.transfer.fetch import fetch
from relay.transfer.notebook import Notebook
from tests.faults.send_child import store_of
from tests.faults.send_memory import most_memory


def main(manifest: str, target: str, notes: str, *where: str) -> None:
    wanted = parse_manifest(Path(manifest).read_bytes())
    with Notebook(Path(notes)) as notebook:
        fetched = fetch(wanted, store_of(*where), Path(target), notebook)
    print(fetched.fetched_bytes, most_memory())


if __name__ == "__main__":
    main(*sys.argv[1:])
