"""What is said of two prints side by side: of versions that there are, the newest of each two counts."""

import pytest
from pydantic import ValidationError

from relay.ledger.telling import telling
from relay.ledger.words import VersionsAligned
from tests.unit.ledger.job_scene import floor, refused
from tests.unit.ledger.scene import some_digest


def aligned(one: str, other: str, name: str = "map") -> VersionsAligned:
    return VersionsAligned(one=one, other=other, frame_map=some_digest(name), matched=90, sure=80, frames=100)


def test_the_newest_of_two_versions_counts_whichever_comes_first() -> None:
    told = floor(stages=[{"name": "scan"}], elements={"A": 1, "B": 1})
    told.opens()
    one, other = told.delivers("scan/A/R01"), told.delivers("scan/B/R01")
    told.says("kolkata", aligned(one, other))
    told.says("halifax", aligned(other, one, "another map"))
    (found,) = told.state.alignments
    assert (found.one, found.other, found.frame_map) == (other, one, some_digest("another map"))
    with refused("there is no version A/R01/v9"):
        told.says("kolkata", aligned("A/R01/v9", other))


def test_it_is_told_in_a_sentence_and_no_figure_is_larger_than_the_reel() -> None:
    said = "put A/R01/v1 beside B/R01/v1: 90 of 100 frames found, 80 surely"
    assert telling(aligned("A/R01/v1", "B/R01/v1")) == said
    with pytest.raises(ValidationError, match="with itself"):
        aligned("A/R01/v1", "A/R01/v1")
    with pytest.raises(ValidationError, match="no more can be"):
        VersionsAligned(one="A/R01/v1", other="B/R01/v1", frame_map=some_digest("map"), matched=9, sure=9, frames=8)
