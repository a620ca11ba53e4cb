"""A package looked at: every frame once, while its bytes are in memory, and the report of what was found.

`look` is for whoever has a file's bytes at hand, as a fetch has; `look_at_rest` reads what was not at hand. Either may
be called from many threads.
"""

import hashlib
import os
import threading
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path
from typing import Any

from relay.errors import MissingError, RefusedError
from relay.media.asked import NOTHING_ASKED, Asked
from relay.media.eyes import Eyes, Look
from relay.media.findings import Finding, Kind, Movie, Report, Run, SoundTrack
from relay.media.judging import Judge
from relay.media.package import Contents, contents_of, kind_of
from relay.media.ruling import Rules, usual_rules
from relay.media.seen import Seen
from relay.media.sequence import Sequence
from relay.media.sounding import movie_findings, sound_findings
from relay.media.thumbnails import Thumbnails
from relay.model import Digest

FILE_LIMIT = 1024 * 1024 * 1024  # bytes of one frame
USUAL_RATE = Fraction(18)  # where nobody says how fast the film runs

Told = Callable[[str, int], None]
"""Called with each path that is done with, and how many bytes of it were read; may raise, to end the looking."""


class Inspection:
    """One package under inspection."""

    def __init__(
        self, paths: Iterable[str], eyes: Eyes, asked: Asked = NOTHING_ASKED, rules: Rules | None = None
    ) -> None:
        self.contents: Contents = contents_of(paths)
        self.asked = asked
        self.rules = rules or usual_rules()
        self.digests: dict[str, Digest] = {}
        """Of every frame that was read here."""
        self._eyes = eyes
        self._seen: dict[str, dict[str, Any]] = {}
        self._lock = threading.Lock()
        self._film = {file.path: (run, number) for run in self.contents.runs for number, file in run.files}
        every = round(asked.rate or USUAL_RATE)
        self.thumbnails = {run.name: Thumbnails(run.numbers()[0], every) for run in self.contents.runs}

    def wants(self, path: str) -> bool:
        """Answer whether the bytes of `path` are to be looked at, and were not yet."""
        return path not in self._seen and (path in self._film or path in self.contents.stills)

    def look(self, path: str, body: memoryview) -> None:
        """Look at a file whose bytes are at hand."""
        if self.wants(path):
            self._keep(path, self._eyes.frame(kind_of(path), len(body), lambda memory: _copy(body, memory)))

    def look_at_rest(self, folder: Path, hands: int = 3, told: Told = lambda _path, _size: None) -> None:
        """Read and look at what was not at hand, `hands` files at a time. Raises MissingError, RefusedError."""
        waiting = [path for path in (*self._film, *self.contents.stills) if self.wants(path)]
        with ThreadPoolExecutor(hands, thread_name_prefix="look") as pool:
            try:
                for path, size in pool.map(lambda path: self._look_at(folder, path), waiting):
                    told(path, size)
            except BaseException:
                pool.shutdown(cancel_futures=True)  # else it looked at all the rest before it said so
                raise
        self._listen(folder, told)

    def _listen(self, folder: Path, told: Told) -> None:
        """Let the children read sound and movies by themselves."""
        measure = self.rules.measure
        question = {"what": "sound", "clipped": measure.clipped_samples, "seconds": 600}
        question |= {"silent_below": measure.silent_below_db, "silent_seconds": measure.silent_seconds}
        for path in self.contents.sounds:
            self._keep(path, self._eyes.file({**question, "path": str(folder / path)}))
            told(path, 0)
        for path in self.contents.movies:
            self._keep(path, self._eyes.file({"what": "movie", "seconds": 3600, "path": str(folder / path)}))
            told(path, 0)

    def _look_at(self, folder: Path, path: str) -> tuple[str, int]:
        """Read one frame: once, into memory where it is hashed and decoded at the same time."""
        whole = hashlib.sha256()
        try:
            handle = os.open(folder / path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
        except FileNotFoundError as error:
            raise MissingError(f"{folder / path} vanished while the package was looked at: look again") from error
        except OSError as error:
            raise RefusedError(f"{folder / path} cannot be read ({error.strerror}): see what is there") from error
        try:
            size = os.fstat(handle).st_size
            if size > FILE_LIMIT:
                self._keep(path, Look({"fault": f"it is {size} bytes long: a frame has at most {FILE_LIMIT}"}))
                return path, size
            look = self._eyes.frame(kind_of(path), size, lambda memory: _fill(handle, memory), whole.update)
        finally:
            os.close(handle)
        self._keep(path, look)
        with self._lock:
            self.digests[path] = Digest(whole.hexdigest())
        return path, size

    def _keep(self, path: str, look: Look) -> None:
        with self._lock:
            self._seen[path] = look.facts
            if look.thumb and path in self._film:
                run, number = self._film[path]
                columns, rows = look.facts["thumb"]
                self.thumbnails[run.name].add(number, columns, rows, look.thumb)

    def report(self) -> Report:
        """Return what was found."""
        findings = list(self.contents.names_say(self.rules, self.asked.known_gaps))
        runs: list[Run] = []
        for run in self.contents.runs:
            judge = self._judge(run)
            runs.append(judge.run())
            if run is not self.contents.runs[0]:  # a stray: that it is there is what is wrong with it
                findings.extend(judge.faults())
                continue
            findings.extend(judge.findings())
            findings.extend(self._length(runs[-1]))
        findings.extend(self._stills())
        rate = self._rate(runs)
        for path in self.contents.sounds:
            findings.extend(sound_findings(path, self._seen.get(path, {}), runs[0] if runs else None, rate, self.rules))
        for path in self.contents.movies:
            findings.extend(movie_findings(path, self._seen.get(path, {}), self.rules))
        return Report(
            runs=tuple(runs),
            sounds=tuple(_sound(path, self._seen[path]) for path in self.contents.sounds if self._is_good(path)),
            movies=tuple(_movie(path, self._seen[path]) for path in self.contents.movies if self._is_good(path)),
            documents=(*self.contents.stills, *self.contents.papers),
            findings=tuple(sorted(findings, key=_weight)),
            looked_at=sum(path in self._seen for path in self._film),
            decay=self.thumbnails[runs[0].name].decayed() if runs else None,
        )

    def _is_good(self, path: str) -> bool:
        return not self._seen.get(path, {"fault": "not looked at"}).get("fault")

    def _judge(self, run: Sequence) -> Judge:
        frames: dict[int, Seen] = {}
        for number, file in run.files:
            facts = self._seen.get(file.path, {"fault": "it was not looked at"})
            frames.setdefault(number, Seen(**{**facts, "thumb": tuple(facts.get("thumb", (0, 0)))}))
        return Judge(run.name, run.kind, frames, self.asked, self.rules)

    def _rate(self, runs: list[Run]) -> Fraction | None:
        if self.asked.rate is not None:
            return self.asked.rate
        told = runs[0].rate if runs else None
        return None if told is None else Fraction(told).limit_denominator(1001)

    def _stills(self) -> Iterable[Finding]:
        for path in self.contents.stills:
            if fault := self._seen.get(path, {}).get("fault"):
                yield self._finding(Kind.UNREADABLE, path, f"{fault}: send the picture again")

    def _length(self, run: Run) -> Iterable[Finding]:
        span, measure = run.last - run.first + 1, self.rules.measure
        if self.asked.frames is not None and abs(span - self.asked.frames) > measure.length_frames:
            words = f"{span} frames from first to last, the can says {self.asked.frames}: is the head or tail missing?"
            yield self._finding(Kind.LENGTH, run.name, words, 0.8)
        held = self.asked.measured_frames()
        if held is None:
            return
        if abs(span - held) > max(Fraction(measure.length_frames), held * Fraction(measure.length_percent) / 100):
            words = f"{span} frames from first to last, the measured length holds {round(held)}: is an end missing?"
            yield self._finding(Kind.LENGTH, run.name, words, 0.8)

    def _finding(self, kind: Kind, where: str, what: str, sure: float = 1.0) -> Finding:
        return Finding(kind=kind, grade=self.rules.grade[kind], where=where, what=what, sure=sure)


def inspect_folder(
    folder: Path,
    paths: Iterable[str],
    eyes: Eyes,
    asked: Asked = NOTHING_ASKED,
    rules: Rules | None = None,
    told: Told = lambda _path, _size: None,
) -> Inspection:
    """Look at all of a folder. Raises RefusedError and MissingError; what is wrong with the media is in the report."""
    inspection = Inspection(paths, eyes, asked, rules)
    inspection.look_at_rest(folder, told=told)
    return inspection


def _weight(finding: Finding) -> tuple[str, str, str, int]:
    first = finding.frames[0].first if finding.frames else -1
    return (finding.grade, finding.where, finding.kind, first)


def _copy(body: memoryview, memory: memoryview) -> None:
    memory[:] = body


def _fill(handle: int, memory: memoryview) -> None:
    at = 0
    while at < len(memory):
        count = os.preadv(handle, [memory[at:]], at)
        if count == 0:
            raise RefusedError("a file became shorter while it was looked at: is somebody still writing there?")
        at += count


def _sound(path: str, facts: dict[str, Any]) -> SoundTrack:
    seconds = facts["samples"] / facts["rate"]
    kept = {name: facts[name] for name in ("samples", "rate", "channels", "form")}
    return SoundTrack(path=path, seconds=seconds, **kept)


def _movie(path: str, facts: dict[str, Any]) -> Movie:
    kept = {name: facts[name] for name in ("frames", "width", "height", "codec")}
    return Movie(path=path, rate=facts["movie_rate"], **kept)
