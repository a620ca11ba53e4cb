"""What is said for and against prints, from figures whose order is plain to see."""

import pytest

from relay.cli.arguing import arguments
from relay.cli.prints import _in_all
from relay.media.quality import Look

CLEAR = Look(sharpness=12.0, grain=1.0, dark=5.0, light=90.0, damage=0.1, wide=100.0, high=100.0)
SOFT = CLEAR._replace(sharpness=6.0, grain=0.5, dark=20.0, light=70.0)
WORN = CLEAR._replace(sharpness=9.0, damage=4.0, wide=90.0, decay=6.0)
KINDS = {"A": "projection print", "B": "duplicate negative, second", "C": "fine grain master"}


def words(looks: dict[str, Look]) -> dict[str, tuple[list[str], list[str]]]:
    found = arguments(looks, KINDS)
    return {name: tuple([each.partition(" (")[0] for each in side] for side in sides) for name, sides in found.items()}


def test_each_of_three_prints_is_told_what_it_is_best_and_worst_at():
    assert words({"A": CLEAR, "B": SOFT, "C": WORN}) == {
        "A": (["sharpest"], []),  # as much of the tones, the picture and its health as another: no argument
        "B": (["least grain"], ["least sharp", "narrowest range of tones"]),
        "C": ([], ["most damage", "least of the picture", "most decayed"]),
    }
    assert arguments({"A": CLEAR, "B": SOFT, "C": WORN}, KINDS)["A"][0] == ["sharpest (12.0 %, the next 9.0 %)"]


def test_of_two_prints_each_difference_is_said_once_and_what_differs_too_little_is_not():
    assert words({"A": CLEAR, "B": SOFT}) == {
        "A": (["sharpest", "widest range of tones"], []),
        "B": (["least grain", "nearest to the camera"], []),
    }
    near = CLEAR._replace(sharpness=12.3, grain=1.04)
    assert words({"A": CLEAR, "D": near}) == {"A": ([], []), "D": ([], [])}


def test_of_one_print_or_none_nothing_is_argued():
    assert arguments({"A": CLEAR}, KINDS) == {"A": ([], [])}
    assert arguments({}, KINDS) == {}


@pytest.mark.parametrize(("lacks", "found", "surely", "unknown", "told"), [
    (6, 6, 6, 0, "Of the 6, other prints have all surely."),
    (12, 8, 6, 0, "Of the 12, other prints have 6 surely; others may have 2: look; no print that is known of has 4."),
    (3, 0, 0, 0, "Of the 3, no print that is known of has any."),
    (3, 0, 0, 3, "Of the 3, nobody knows who has any."),
    (5, 2, 1, 3, "Of the 5, other prints have 1 surely; others may have 1: look; nobody knows who has 3."),
])  # fmt: skip
def test_what_can_be_had_elsewhere_is_one_sentence(lacks: int, found: int, surely: int, unknown: int, told: str):
    assert _in_all(lacks, found, surely, unknown) == told
