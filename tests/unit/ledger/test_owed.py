"""What a site must fetch: what is meant for it, again once it was mended, and again where only the way was bad."""

import pytest

from relay.ledger import owed
from relay.ledger.words import ObjectMended, ReceiptSigned
from tests.unit.ledger.job_scene import Floor, floor
from tests.unit.ledger.scene import some_digest, version

ROUTE = [{"name": "scan"}, {"name": "grade", "after": ["scan"]}]
MADE = "A/R01/v1"


@pytest.fixture
def told() -> Floor:
    """Lisbon scanned a reel, and kolkata alone may grade it."""
    does = {site: ["scan"] for site in ("oslo", "lisbon", "halifax")}
    told = floor(stages=ROUTE, elements={"A": 1}, does={**does, "kolkata": ["grade"]})
    told.opens()
    told.does("scan/A/R01")
    assert owed.to_receive(told.state, "kolkata") == [MADE]
    return told


def refuses(told: Floor, *places: str) -> None:
    faults = [{"path": f"{number}.dpx", "what": "changed", "where": place} for number, place in enumerate(places)]
    said = {"version": MADE, "manifest": version("A/R01", 1).manifest, "whole": not faults}
    told.says("kolkata", ReceiptSigned.model_validate({**said, "faults": faults, "faults_in_all": len(faults)}))


def test_what_arrived_whole_is_not_fetched_again(told: Floor) -> None:
    refuses(told)
    assert owed.to_receive(told.state, "kolkata") == []


def test_what_is_bad_in_the_bucket_is_fetched_again_only_when_something_was_mended(told: Floor) -> None:
    refuses(told, "bucket", "arrival")
    assert owed.to_receive(told.state, "kolkata") == []
    told.says("oslo", ObjectMended(object=some_digest("frame"), version=MADE))
    assert owed.to_receive(told.state, "kolkata") == [MADE]
    refuses(told, "bucket")
    assert owed.to_receive(told.state, "kolkata") == []


def test_what_was_damaged_only_on_its_way_is_fetched_again_without_a_mending(told: Floor) -> None:
    refuses(told, "arrival", "arrival")
    assert owed.was_damaged_on_arrival(told.state, MADE, "kolkata")
    assert owed.to_receive(told.state, "kolkata") == [MADE]
    assert owed.to_mend(told.state, "oslo") == [], "nothing of it is bad in the bucket"
    refuses(told)
    assert owed.to_receive(told.state, "kolkata") == []
