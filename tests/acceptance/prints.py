"""Two prints of a reel as a house has them: A leaves room in its numbers for what it lacks, B counts from 100 on."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from relay.ledger.words import VersionInspected
from relay.media.decay import Decayed
from relay.media.findings import Report
from relay.media.thumbnails import Thumbnails
from relay.model import VersionName, digest_of
from relay.programme.framemap import FrameMap, Match
from relay.settings import Home
from relay.transfer.aligned import say_aligned
from relay.transfer.sender import Sender
from relay.wiring import open_desk
from tests.acceptance.house import House
from tests.acceptance.test_conform import frame
from tests.unit.programme.scene import film

FILM = film(40, 7)
OTHER = """
[[element]]
code = "B"
title = "The print from the north"
kind = "duplicate negative"
gauge = "35mm"
base = "acetate"
holder = "Harbour Street Archive"
speed = "18"
generation = "second"

[[element.reel]]
name = "R01"
"""
IN_A = [number for number in range(40) if not 12 <= number <= 17]
IN_B = [number for number in range(40) if not 25 <= number <= 27]


def numbered(of: list[int], first: int) -> dict[int, int]:
    return {shown: first + place for place, shown in enumerate(of)}


def two_prints(house: House, production: str) -> None:
    """Found the production and send both prints: A lacks 12 to 17, B 25 to 27 and is drawn with half the contrast."""
    (house.place / "quillmark.toml").write_text(production, encoding="utf-8")
    house.create()
    for number in IN_A:
        frame(house.place / "a", number, FILM.grey[number], number)
    for shown, number in numbered(IN_B, 100).items():
        frame(house.place / "b", number, FILM.grey[shown] // 2 + 60, number)
    house.send("halifax", house.place / "a", "A/R01", "--start-mark", "0")
    house.send("halifax", house.place / "b", "B/R01", "--start-mark", "100=100")


def put_side_by_side(place: Path) -> None:
    """Say which frame of A shows what which frame of B shows."""
    say_maps(place, ("A/R01/v1", {number: number for number in IN_A}), ("B/R01/v1", numbered(IN_B, 100)))


def say_maps(place: Path, one: tuple[str, dict[int, int]], other: tuple[str, dict[int, int]]) -> None:
    """Say what two versions show of each other: of each, its number of every frame of the original that it has."""
    (a, own), (b, theirs) = one, other
    there = {number: Match(theirs.get(shown), 97, sure=True) for shown, number in own.items()}
    back = {number: Match(own.get(shown), 97, sure=True) for shown, number in theirs.items()}
    found = FrameMap.built(VersionName(a), VersionName(b), there, back)
    with open_desk(Home(folder=place / "lisbon")) as desk:
        desk.ledger.follow()
        assert say_aligned(desk, found) is not None
        assert say_aligned(desk, found) is None  # said once


def two_shots(numbers: list[int], cut: int) -> dict[int, NDArray[np.uint8]]:
    """Return thumbnails: light comes from the left, and from `cut` on from above."""
    aside = np.tile(np.arange(64, dtype=np.uint8) * 3, (48, 1))
    above = np.tile(np.arange(48, dtype=np.uint8)[:, None] * 4, (1, 64))
    return {number: aside if number < cut else above for number in numbers}


def looked_at(
    house: House, reel: str, grey: Mapping[int, NDArray[np.uint8]], decay: Sequence[Decayed] | None = None
) -> None:
    """Keep a report and thumbnails of a reel as an inspection does."""
    kept = Thumbnails(min(grey), 18)
    kept.grey.update(grey)
    report, body = bytearray(Report(decay=None if decay is None else tuple(decay)).encode()), kept.stored()
    with open_desk(Home(folder=house.place / "halifax")) as desk:
        version = desk.ledger.follow().version(reel)
        for each in (report, body):
            Sender(desk.store, desk.notebook, frozenset()).put(digest_of(each), memoryview(each), "what was seen")
        seen = {"report": digest_of(report), "blocking": 0, "warning": 0, "thumbnails": digest_of(body)}
        word = VersionInspected(version=version.name, manifest=version.manifest, **seen)
        desk.ledger.append(desk.pen, lambda _state, _now: [word])
