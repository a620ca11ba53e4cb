"""What the ledger says about jobs, sends and receipts, read from the stored JSON by nothing of ours."""

import json
from collections import Counter


class Account:
    """Told of each entry in its order. `broken` says which invariant fell, and where."""

    def __init__(self) -> None:
        self.entries = 0
        self.holder: dict[str, tuple[str, int] | None] = {}
        """Of each job: who holds it, and by the claim of which entry."""
        self.done: Counter[str] = Counter()
        self.lapsed = 0
        self.sent: Counter[str] = Counter()
        """By note."""
        self.versions: list[str] = []
        self.received: Counter[tuple[str, str]] = Counter()
        self.broken: list[str] = []

    def take(self, raw: bytes) -> None:
        said = json.loads(raw.split(b"\n")[0])
        self.entries += 1
        for word in said["words"]:
            self._word(said["sequence"], said["by"], word)

    def _check(self, holds: bool, what: str, number: int) -> None:
        if not holds:
            self.broken.append(f"entry {number}: {what}")

    def _word(self, number: int, by: str, word: dict[str, str]) -> None:
        job = word.get("job", "")
        match word["word"]:
            case "job-opened":
                self._check(job not in self.holder, f"{job} is opened twice", number)
                self.holder[job] = None
            case "job-claimed":
                self._check(self.holder[job] is None, f"{job} has two live claims", number)
                self._check(not self.done[job], f"{job} is claimed after it was done", number)
                self.holder[job] = (by, number)
            case "claim-lapsed":
                held = self.holder[job]
                self._check(held is not None and held[1] == word["epoch"], f"no such claim on {job} lapses", number)
                self.lapsed += 1
                self.holder[job] = None
            case "job-handed-in":
                held = (by, word["epoch"])
                self._check(self.holder[job] == held, f"{job} is handed in by who does not hold it", number)
                self._check(not self.done[job], f"{job} is done twice", number)
                self.holder[job] = None
                self.done[job] += 1
            case "version-made":
                self.sent[word["note"]] += 1
                self.versions.append(word["version"])
            case "receipt-signed":
                self.received[by, word["version"]] += 1
