"""Treatment records: what a site says was done to which frames, read strictly and within bounds."""

import json

import pytest

from relay.media.treatment import LIMIT, parse_treatment
from relay.model import FrameRange

GOOD = """
relay_treatment = 1
[[step]]
what = "dust removed"
with = "the cleaning desk"
frames = "3-5,9"
by = "Ines"
settings = { strength = 0.4, window = 5, tint = "amber", twice = true }
"""


def test_a_record_says_which_frames_each_step_touched_and_with_what_settings():
    (step,) = parse_treatment("treatment.toml", GOOD.encode()).step
    assert step.ranges() == (FrameRange(first=3, last=5), FrameRange(first=9, last=9))
    assert step.settings == {"strength": 0.4, "window": 5, "tint": "amber", "twice": True}
    assert step.in_words() == (
        "dust removed with the cleaning desk on 3-5, 9 (strength 0.4, window 5, tint amber, twice True), by Ines"
    )
    assert step.touches([FrameRange(first=5, last=8)])
    assert not step.touches([FrameRange(first=6, last=8)])


def test_a_step_without_frames_touched_every_one():
    table = {"relay_treatment": 1, "step": [{"what": "graded", "with": "the grading desk"}]}
    record = parse_treatment("treatment.json", json.dumps(table).encode())
    assert record.touched() is None
    assert record.step[0].touches([FrameRange(first=7, last=7)])


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (b"\xff", "not UTF-8"),
        (b"relay_treatment = 2\n[[step]]\nwhat='x'\nwith='y'", "relay_treatment"),
        (b"relay_treatment = 1", "step is missing"),
        (b"relay_treatment = 1\n[[step]]\nwith='y'", "what is missing"),
        (GOOD.replace("Ines", "I\\tnes").encode(), "one line"),
        (GOOD.replace("0.4", "nan").encode(), "finite"),
        (GOOD.replace("0.4", "[1, 2]").encode(), "strength"),
        (GOOD.replace("0.4", "9" * 400).encode(), "strength"),
        (GOOD.replace('by = "Ines"', "colour = 3").encode(), "means nothing here"),
        (b"x = " + b"[" * 100_000, "no treatment record"),
        (bytes(LIMIT + 1), "expected at most"),
    ],
)
def test_what_is_no_record_is_refused_in_a_sentence(body: bytes, why: str):
    with pytest.raises(ValueError, match=why):
        parse_treatment("treatment.toml", body)


@pytest.mark.parametrize("frames", ["5-3", "all", "1-2-3", ""])
def test_frames_are_ranges_of_the_reel_s_own_numbers(frames: str):
    with pytest.raises(ValueError, match=r"frames"):
        parse_treatment("treatment.toml", GOOD.replace("3-5,9", frames).encode())


def test_nesting_that_is_too_deep_is_refused_in_json_as_well():
    with pytest.raises(ValueError, match="no treatment record"):
        parse_treatment("treatment.json", b"[" * 200_000)
