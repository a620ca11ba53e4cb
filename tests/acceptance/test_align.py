"""`relay align` and `relay pin`, as whoever compares prints uses them."""

from functools import cache

import numpy as np
import pytest

from tests.acceptance.house import PRODUCTION, House
from tests.acceptance.prints import OTHER, looked_at
from tests.references.prints import LEVELS, drawn_source, struck


@cache  # drawn when it is first needed, and not by whoever only looks which tests there are
def drawn(seed: int, frames: int, of: int) -> np.ndarray:
    return struck(seed, drawn_source(seed, of), LEVELS["mild"], 0).grey[:frames]


def film() -> np.ndarray:
    return drawn(31, 60, of=90)


@pytest.fixture
def prints(house: House) -> House:
    """Two prints of a reel have arrived and were looked at; B lacks 12 frames."""
    (house.place / "more.toml").write_text(PRODUCTION + OTHER, encoding="utf-8")
    house("lisbon", "production", "revise", "more.toml", "--reason", "a print turned up")
    for reel, grey in (("A/R01", film()), ("B/R01", np.delete(film(), slice(30, 42), axis=0))):
        house.send("halifax", house.scan(reel.replace("/", "_"), seed=len(reel)), reel)
        looked_at(house, reel, dict(enumerate(grey, start=86400)))
    return house


def test_what_a_print_lacks_is_told_with_where_it_begins_and_ends_and_a_pin_is_kept_to(prints: House):
    told = prints.told("lisbon", "align", "A/R01", "B/R01")
    (one, other) = told["sides"]
    assert (one["frames"], other["frames"]) == (60, 48)
    assert [each["frames"] for each in one["lacking"]] == [[30, 41]]
    assert other["lacking"] == []
    said = prints("lisbon", "align", "A/R01", "B/R01").out
    assert "B/R01/v1 shows 48 of it.\nB/R01/v1 lacks 1 range of it." in said
    assert "A/R01/v1 has all of it." in said
    assert "30-41" in said
    assert told["turned"] is None
    prints("tokyo", "pin", "A/R01:12", "B/R01:10", "--note", "the lamp is lit here")
    assert "pinned A/R01:12 to B/R01:10 (the lamp is lit here)" in prints("lisbon", "ledger", "show", "--last", "1").out
    pinned = prints.told("lisbon", "align", "A/R01", "B/R01")
    assert pinned["entry"] > told["entry"]
    prints("tokyo", "pin", "A/R01:12", "B/R01", "--lift")
    assert prints.told("lisbon", "align", "A/R01", "B/R01")["sides"] == told["sides"]


def odd() -> list[tuple[str, np.ndarray, np.ndarray, list[str]]]:
    one, others, flat = film()[:40], drawn(77, 40, of=60), np.zeros((20, 48, 64), np.uint8)
    few = ["A/R01/v1: 2 frames,", "B/R01/v1 has all of it", "A/R01/v1 lacks 2 ranges of it"]
    turned = ["B/R01/v1 shows what A/R01/v1 shows, but with left and right changed"]
    return [
        ("two frames", film()[10:12], one, few),
        ("turned round", one, one[:, :, ::-1], turned),
        ("scanned from the tail", one, one[::-1], ["what A/R01/v1 shows, but from its end to its beginning"]),
        ("other films", one, others, ["They share nothing that was found", "pin what shows the same"]),
        ("all black", flat, flat, ["Nobody can tell from their neighbours, which look the same: 0-19"]),
    ]


def test_what_is_odd_about_two_prints_is_said_in_words_that_tell_what_to_do(prints: House):
    shown: dict[str, np.ndarray] = {}
    for name, one, other, sentences in odd():
        for reel, grey in (("A/R01", one), ("B/R01", other)):
            if shown.get(reel) is not grey:
                looked_at(prints, reel, dict(enumerate(grey, start=86400)))
            shown[reel] = grey
        said = " ".join(prints("lisbon", "align", "A/R01", "B/R01").out.split())
        for each in sentences:
            assert each in said, (name, said)
        assert "nan" not in said.lower()


REFUSED = [
    ("align A/R01 A/R01/v1", 2, "are of one reel"),
    ("align A/R01 A/R02", 3, "has no version yet"),
    ("pin A/R01:1-2 B/R01:3", 2, "is not one frame"),
    ("pin A/R01:1 B/R01", 2, "name a frame of the other print"),
    ("pin A/R01:1 B/R01:2 --lift", 2, "--lift and its reel"),
    ("pin A/R01:1 B/R01 --lift", 2, "there is none to lift"),
    ("pin A:1 B/R01:1", 2, "is no place"),
    ("pin A/R01:1 A/R01:2", 2, "both are of A/R01"),
]


def test_what_cannot_be_aligned_or_pinned_is_refused_in_a_sentence(prints: House):
    before = prints.entries
    for line, ends, why in REFUSED:
        assert why in prints.refused("lisbon", *line.split(), ends=ends)
    assert prints.entries == before


def test_a_print_that_nobody_looked_at_is_told(house: House):
    (house.place / "more.toml").write_text(PRODUCTION + OTHER, encoding="utf-8")
    house("lisbon", "production", "revise", "more.toml", "--reason", "a print turned up")
    for reel in ("A/R01", "B/R01"):
        house.send("halifax", house.scan(reel.replace("/", "_")), reel)
    assert "nobody looked at A/R01/v1 yet" in house.refused("lisbon", "align", "A/R01", "B/R01", ends=3)
    for reel in ("A/R01", "B/R01"):
        looked_at(house, reel, dict(enumerate(film()[:20], start=86400)))
    more = house.scan("A_R01_again")
    (more / "frames.txt").write_text("what the reel's other frames are like", encoding="utf-8")
    house.send("halifax", more, "A/R01")  # nobody looked at this one
    assert house.told("lisbon", "align", "A/R01", "B/R01")["one"] == "A/R01/v1"
    assert "nobody looked at A/R01/v2 yet" in house.refused("lisbon", "align", "A/R01/v2", "B/R01", ends=3)
