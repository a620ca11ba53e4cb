"""Where three prints contradict each other, as facts and as sentences of `relay gaps` and `relay align`."""

from collections.abc import Iterator, Mapping

from relay.cli.answer import Page
from relay.cli.numbers import pairs_of
from relay.model import FrameRange, VersionName, merged, reel_of
from relay.programme.agreeing import Disputed
from relay.wording import in_words

By = Mapping[VersionName, tuple[Disputed, ...]]
"""Of a print: what is disputed, by the print that its map leads to."""


def dispute_facts(disputed: By) -> list[dict[str, object]]:
    return [{"prints": [*others], "frames": pairs_of(frames)} for others, frames in _by_others(disputed)]


def show_disputes(page: Page, version: VersionName, disputed: By) -> None:
    """Say which two prints `version` contradicts, at which of its frames, and what to do."""
    for (other, third), frames in _by_others(disputed):
        page.line(
            f", {other} and {third} contradict each other at {in_words(frames, 6)}: none is sure there. "
            f"Look at all three (relay beside {reel_of(version)}:{frames[0]} look.png), and pin what shows the same.",
            head=version,
        )


def _by_others(disputed: By) -> Iterator[tuple[tuple[VersionName, VersionName], tuple[FrameRange, ...]]]:
    found: dict[tuple[VersionName, VersionName], list[tuple[int, int]]] = {}
    for other, disputes in disputed.items():
        for each in disputes:
            low, high = sorted((other, each.third))
            found.setdefault((low, high), []).extend((part.first, part.last) for part in each.frames)
    return ((others, merged(ranges)) for others, ranges in sorted(found.items()))
