"""A day in the life of the production: most of what a board can show stands in it once."""

from pathlib import Path

from relay.ledger import work
from relay.ledger.job_words import HandOnOffered
from relay.ledger.words import CopyChecked
from relay.model import FrameRange, VersionName
from tests.unit.board.board_house import GRADER, RULER, SCANNER, TOKYO, BoardHouse


def busy_house(place: Path) -> BoardHouse:
    """Return a house in which scans are done, refused, returned, late and under way."""
    house = BoardHouse(place)
    house.at(96)
    house.opens()
    held = _with_gaps(15_840, (4_120, 4_260), (11_002, 11_090))
    first = house.delivers(SCANNER, "scan/A/R01", held, GRADER, "dry scan")
    house.at(90)
    house.accepts("scan/A/R01")
    house.delivers(SCANNER, "scan/A/R02", _with_gaps(16_320, (300, 380)), GRADER, "dry scan, splice at 412 is weak")
    house.accepts("scan/A/R02")
    house.at(80)
    house.delivers(TOKYO, "scan/B/R01", range(15_600), GRADER, "steady, a little soft")
    house.opens()
    house.at(70)
    house.delivers(GRADER, "grade/A/R01", held, TOKYO, look="graded")
    house.at(60)
    house.accepts("grade/A/R01")
    house.claims(RULER, "edit/A/R01", hours=90)
    _more_scans(house)
    house.at(26)
    house.claims(GRADER, "grade/A/R02", hours=20)  # overdue by now
    _in_trouble(house, first)
    house.at(1)
    house.claims(SCANNER, "scan/B/R03", hours=7)
    house.at(0)
    house.opens()
    return house


def _with_gaps(count: int, *gaps: tuple[int, int]) -> list[int]:
    return [n for n in range(count) if not any(first <= n <= last for first, last in gaps)]


def _more_scans(house: BoardHouse) -> None:
    house.at(40)
    bad = house.delivers(TOKYO, "scan/C/R01", range(9_200), GRADER, "16 mm, worn")
    house.at(38)
    work.give_back(
        house.ledger(RULER), house.pens[RULER], "scan/C/R01", "frames 2100 to 2180 are out of focus: scan them again"
    )
    assert bad
    house.at(30)
    house.claims(TOKYO, "scan/B/R02")
    house.at(5)
    house.hands_in(TOKYO, "scan/B/R02", range(16_100), "two joins repaired")


def _in_trouble(house: BoardHouse, first: VersionName) -> None:
    house.at(9)
    house.claims(SCANNER, "scan/A/R03")
    sent = house.hands_in(SCANNER, "scan/A/R03", range(14_976), "wet gate")
    house.at(7)
    fault = {"path": "A_R03.0088213.dpx", "what": "changed", "where": "bucket", "expected": "a" * 64, "found": "b" * 64}
    house.receives(GRADER, sent, [fault])
    version = house.ledger(RULER).follow().versions[first]
    house.at(4)
    told = {"version": first, "manifest": version.manifest, "place": "bucket", "outcome": "whole"}
    house.says(SCANNER, CopyChecked.model_validate(told))
    house.at(2)
    epoch = house.ledger(RULER).follow().jobs["edit/A/R01/1"].claim
    offer = HandOnOffered(
        job="edit/A/R01/1",
        epoch=epoch.epoch if epoch else 0,
        to=GRADER,
        done="scenes 1 to 14, and the titles",
        left="scene 15 to the end; the flood has no best source yet",
        faults="two frames doubled at the join of 9 and 10",
        frames=(FrameRange(first=0, last=9_870),),
    )
    work.offer(house.ledger(RULER), house.pens[RULER], "edit/A/R01", offer)
