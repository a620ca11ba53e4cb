"""Entries as lines: number, signer, time, what was said, and which reels it is about. Pure."""

import json
from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from functools import lru_cache
from typing import Any

from relay.ledger.decision_words import DecisionMade, Evidence
from relay.ledger.entry import read_entry
from relay.ledger.job_words import InputsRenewed, JobOpened
from relay.ledger.telling import telling
from relay.ledger.words import Word
from relay.model import Frozen, ReelName, VersionName, reel_of


class LedgerLine(Frozen):
    """One entry."""

    entry: int
    time: datetime
    by: str
    said: tuple[str, ...]
    """One sentence a word, without its subject: the signer."""
    reels: tuple[ReelName, ...]
    digest: str


class Spoken(Frozen):
    """What a line of the index keeps of an entry, read without checking: the ledger checked it before."""

    by: str
    time: datetime
    reels: tuple[ReelName, ...]


def spoken(raw: bytes) -> Spoken:
    """Return who said an entry, when, and about which reels, ten times faster than reading it whole."""
    body = json.loads(raw.partition(b"\n")[0])
    reels = dict.fromkeys(reel for word in body["words"] if (reel := _reel_in(word)))
    time = datetime.fromisoformat(body["time"])
    return Spoken.model_construct(by=body["by"], time=time, reels=tuple(reels))


def _reel_in(word: Mapping[str, Any]) -> ReelName | None:
    if word.get("word") == "decision-made":
        about = word["place"]["about"]
        return ReelName(about) if "/" in about else None
    if "reel" in word:
        return ReelName(word["reel"])
    if "version" in word:
        return reel_of(VersionName(word["version"]))
    return ReelName(word["job"].partition("/")[2].rpartition("/")[0]) if "job" in word else None


def reel_told(word: Word) -> ReelName | None:
    """Return the reel that `word` is about; None for one about the production and its sites."""
    if isinstance(word, DecisionMade):
        return word.place.reel
    return _reel_in(
        {name: value for name in ("reel", "version", "job") if isinstance(value := getattr(word, name, None), str)}
    )


def ledger_lines(raws: Iterable[tuple[int, bytes]], only: Collection[ReelName] | None = None) -> tuple[LedgerLine, ...]:
    """Return entries as lines, in the order given; with `only`, just what is said about those reels, and of them."""
    within = None if only is None else frozenset(only)
    lines = (_line(slot, raw, within) for slot, raw in raws)
    return tuple(line for line in lines if line.said)


@lru_cache(maxsize=1024)
def _line(slot: int, raw: bytes, only: frozenset[ReelName] | None) -> LedgerLine:
    entry = read_entry(raw, slot)
    words = entry.body.words if only is None else tuple(_within(word, only) for word in entry.body.words)
    shown = [word for word in words if word is not None]
    return LedgerLine(
        entry=slot,
        time=entry.body.time,
        by=entry.body.by,
        said=tuple(telling(word) for word in shown),
        reels=tuple(dict.fromkeys(reel for word in shown if (reel := reel_told(word)))),
        digest=entry.digest,
    )


def _within(word: Word, only: Collection[ReelName]) -> Word | None:
    """Return `word` without other archives' reels in it; None where it is about none of `only`."""
    if reel_told(word) not in only:
        return None
    if isinstance(word, JobOpened | InputsRenewed):
        return word.model_copy(update={"inputs": tuple(name for name in word.inputs if reel_of(name) in only)})
    if isinstance(word, DecisionMade):
        seen = tuple(each for each in word.evidence if _is_within(each, only))
        instead = word.instead if word.instead and word.instead.reel in only else None
        return word.model_copy(update={"evidence": seen, "instead": instead})
    return word


def _is_within(evidence: Evidence, only: Collection[ReelName]) -> bool:
    versions = [name for name in (evidence.version, evidence.against) if name]
    return bool(versions) and all(reel_of(name) in only for name in versions)
