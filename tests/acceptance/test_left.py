"""A hair in the camera gate is left as it is: a later version that lost it is found, shown, and judged by a person."""

from pathlib import Path

import numpy as np
import pytest

from tests.acceptance.house import House
from tests.references.kept_details import case
from tests.references.pictures import write_dpx


def frames(house: House, name: str, pictures: np.ndarray) -> Path:
    """Write pictures as 10-bit DPX, with OpenImageIO."""
    folder = house.place / name
    folder.mkdir()
    for at, picture in enumerate(pictures):
        grey = (np.clip(picture, 0, 1) * 65535).astype(np.uint16)
        write_dpx(folder / f"a_r01.{86400 + at:07d}.dpx", np.repeat(grey[:, :, None], 3, axis=2), at)
    return folder


@pytest.fixture(scope="module")
def house(first_house: House, tmp_path_factory: pytest.TempPathFactory) -> House:
    """A scan, a version that was cleaned of the hair, and one that was only graded and steadied."""
    house = first_house.copied(tmp_path_factory.mktemp("left"))
    cleaned, graded = (case(5, is_cleaned=is_cleaned, frames=3) for is_cleaned in (True, False))
    house.send("halifax", frames(house, "scan", graded.before))
    house.send("tokyo", frames(house, "cleaned", cleaned.after))
    house.send("tokyo", frames(house, "graded", graded.after))
    region = ",".join(map(str, graded.box))
    said = ("--because", "=camera", "--evidence", "A/R01/v1", "--region", region)
    house("lisbon", "decide", "A/R01:0-2", "left-as-it-is", *said)
    return house


def test_a_cleaning_that_took_it_is_flagged_and_a_grade_is_not(house: House):
    entry = house.entries - 1
    listed = house.told("lisbon", "left", "list")
    assert [each["version"] for each in listed["owed"]] == ["A/R01/v2", "A/R01/v3"]
    lost = house("lisbon", "left", "compare", str(entry), "A/R01/v2", "--crops", "crops.png", ends=2)
    assert "A/R01/v2 seems to have lost it in 0-2" in lost.out
    assert "look at its crops" in lost.err
    assert (house.place / "crops.png").read_bytes().startswith(b"\x89PNG")
    kept = house.told("lisbon", "left", "compare", str(entry), "A/R01/v3")
    assert (kept["compared"], kept["flagged"]) == (3, [])
    house("tokyo", "left", "crops", str(entry), "A/R01/v2", "again.png")
    assert (house.place / "again.png").read_bytes() == (house.place / "crops.png").read_bytes()
    assert house.told("lisbon", "left", "judge", str(entry), "A/R01/v2", "gone", "--person", "Ines")["stands"] is False
    assert house.told("lisbon", "left", "judge", str(entry), "A/R01/v3", "there")["stands"] is True
    shown = house("tokyo", "left", "list").out
    assert "A/R01/v2 lost it; A/R01/v3 still has it" in shown
    assert "says what entry" in house("tokyo", "why", "A/R01:1").out
    assert "leaves no region as it is" in house.refused("lisbon", "left", "compare", "1", "A/R01/v3")
