"""What a route asks for, reckoned a second time from the told words alone: slow, plain, with nothing of the rules."""

from dataclasses import dataclass, field
from typing import Any

Model = dict[str, Any]


@dataclass
class Account:
    """`stages`: each stage's name to what it is `after`, its `reels`, and on what the next and it itself open."""

    stages: dict[str, Model]
    jobs: dict[str, Model] = field(default_factory=dict)
    receipts: dict[str, dict[str, bool]] = field(default_factory=dict)
    makers: dict[str, str] = field(default_factory=dict)
    came_back: set[str] = field(default_factory=set)
    made_from: dict[str, tuple[str, ...]] = field(default_factory=dict)
    broken: list[str] = field(default_factory=list)

    def take(self, number: int, by: str, word: Model) -> None:
        job = self.jobs.get(word.get("job", ""))
        match word["word"]:
            case "job-opened":
                self._opened(number, word)
            case "inputs-renewed":
                job["inputs"], job["standing"] = word["inputs"], "open"
            case "job-claimed":
                job["standing"] = "claimed"
            case "claim-released" | "claim-lapsed" | "try-failed" | "job-restarted":
                job["standing"] = "open"  # or stopped: the route gives both new inputs
            case "version-made":
                self.makers[word["version"]] = by
            case "receipt-signed":
                self.receipts.setdefault(word["version"], {})[by] = word["whole"]
            case "job-handed-in":
                job["outcome"], job["standing"] = word["version"], "handed in"
                self.made_from[word["version"]] = job["inputs"]
            case "job-accepted":
                job["standing"] = "accepted"
            case "job-returned":
                self.came_back.add(job["outcome"])
                job["outcome"], job["standing"] = None, "open"
            case "job-withdrawn":
                if job["outcome"] and job["standing"] == "handed in":
                    self.came_back.add(job["outcome"])
                job["standing"] = "withdrawn"

    def _opened(self, number: int, word: Model) -> None:
        if word["job"] in self.jobs:
            self.broken.append(f"{word['job']} opened twice")
        stage, reel = word["stage"], word["reel"]
        if word["job"].endswith("/1") and tuple(word["inputs"]) != self.inputs(stage, reel):
            self.broken.append(f"{word['job']} opened with {word['inputs']}, not {self.inputs(stage, reel)}")
        self.jobs[word["job"]] = {**word, "standing": "open", "outcome": None, "opened": number}

    def handed(self, stage: str, reel: str, to: str) -> list[str] | None:
        """Return what `stage` hands over for `reel` to the stage `to`: nothing, for ever, or None to wait."""
        is_cut_off = bool(self.stages[stage]["after"]) and self._gathered(stage, reel) == []
        if f"{stage}/{reel}/1" not in self.jobs and not is_cut_off:
            return None
        here = [job for job in self.jobs.values() if (job["stage"], job["reel"]) == (stage, reel)]
        live = [job for job in here if job["standing"] != "withdrawn"]
        if not live:
            return []
        newest = max(live, key=lambda job: (job["opened"], int(job["job"].rpartition("/")[2])))
        done = newest["standing"] == "accepted" or (
            newest["standing"] == "handed in"
            and (self.stages[to]["opens_on"] or self.stages[stage]["next_opens_on"]) == "arrival"
            and self.arrived(newest["outcome"])
        )
        return [newest["outcome"]] if done else None

    def arrived(self, version: str) -> bool:
        receipts = self.receipts.get(version, {})
        others = [whole for site, whole in receipts.items() if site != self.makers[version]]
        return any(others) if others else any(receipts.values())

    def _gathered(self, stage: str, reel: str) -> list[str] | None:
        found: list[str] = []
        for before in self.stages[stage]["after"]:
            theirs = self.stages[before]["reels"]
            for each in [reel] if reel in theirs else theirs:
                handed = self.handed(before, each, stage)
                if handed is None:
                    return None
                found += [version for version in handed if version not in found]
        return found

    def inputs(self, stage: str, reel: str) -> tuple[str, ...] | None:
        """Return what a job takes, or None where it is not due."""
        gathered = self._gathered(stage, reel)
        if gathered is None or (self.stages[stage]["after"] and not gathered):
            return None
        return tuple(gathered)

    def due(self) -> dict[str, tuple[str, ...]]:
        """Return what must be said: jobs to open, and waiting jobs to give other inputs."""
        found = {}
        for stage, about in self.stages.items():
            for reel in about["reels"]:
                job, inputs = self.jobs.get(f"{stage}/{reel}/1"), self.inputs(stage, reel)
                waits = job is None or (job["standing"] == "open" and tuple(job["inputs"]) != inputs)
                if inputs is not None and waits:
                    found[f"{stage}/{reel}/1"] = inputs
        return found

    def marks(self, job: str) -> set[str]:
        """Return the versions that came back and that `job` stands on."""
        found: set[str] = set()
        waiting = list(self.jobs[job]["inputs"])
        while waiting:
            version = waiting.pop()
            found |= {version} & self.came_back
            waiting += self.made_from.get(version, ())
        return found
