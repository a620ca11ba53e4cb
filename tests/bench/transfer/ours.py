"""Our side of the bench as a process of its own: start, send or fetch, end.

    python -m tests.bench.transfer.ours send|fetch FOLDER ENDPOINT BUCKET HOME HANDS

HOME keeps the notebook and the manifest between runs. It prints what was done as one line of JSON. Like the command, it
loads only what it was asked for.
"""

import json
import os
import sys
from pathlib import Path

from relay.media.manifest import Manifest, parse_manifest
from relay.store.s3 import S3Store
from relay.store.signing import Keys
from relay.transfer.budget import Budget
from relay.transfer.notebook import Notebook


def run(verb: str, folder: Path, endpoint: str, bucket: str, home: Path, hands: int) -> dict[str, object]:
    home.mkdir(parents=True, exist_ok=True)
    keys = Keys(os.environ["AWS_ACCESS_KEY_ID"], os.environ["AWS_SECRET_ACCESS_KEY"])
    store = S3Store(bucket, endpoint=endpoint, region="us-east-1", keys=keys)
    budget = Budget()
    with Notebook(home / "notebook") as notebook:
        if verb == "send":
            from relay.transfer.deposit import deposit

            sent = deposit(folder, store, notebook, hands=hands, budget=budget)
            (home / "manifest").write_bytes(sent.manifest.encode())
            return {"sent": sent.sent_bytes, "hashed": sent.hashed_bytes} | _used(budget)
        from relay.transfer.fetch import fetch

        fetched = fetch(_manifest(home), store, folder, notebook, hands=hands, budget=budget)
        if not fetched.whole:
            raise SystemExit(f"not whole: {fetched.faults[0]}")
        return {"fetched": fetched.fetched_bytes} | _used(budget)


def _used(budget: Budget) -> dict[str, object]:
    from tests.faults.send_memory import most_memory

    return {"in flight": budget.peak, "memory": most_memory()}


def _manifest(home: Path) -> Manifest:
    return parse_manifest((home / "manifest").read_bytes())


if __name__ == "__main__":
    verb, folder, endpoint, bucket, home, hands = sys.argv[1:]
    print(json.dumps(run(verb, Path(folder), endpoint, bucket, Path(home), int(hands))))
