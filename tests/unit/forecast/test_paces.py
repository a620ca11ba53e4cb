"""How fast work goes, and how fast a line is: by what the ledger shows, else by what somebody wrote down."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.forecast.ground import Ground
from relay.forecast.guesses import guesses_of
from relay.forecast.lines import Line, line_of, megabits, minutes_for
from relay.forecast.paces import Pace
from relay.ledger.words import ReceiptSigned
from tests.unit.forecast.scene import START, House, film
from tests.unit.ledger.scene import version

MANY = {"reel": [{"name": f"R{number:02d}", "frames": 8000} for number in range(1, 7)]}


def scanned(hours: list[float]) -> Ground:
    """Return the ground after one reel was scanned in each of these times, from nine on a morning in Halifax."""
    house = House.of(film(element__A=MANY))
    for number, each in enumerate(hours, 1):
        house.clock = START.replace(day=4 + number % 5, hour=13)
        house.claims(f"scan/A/R{number:02d}", "halifax")
        house.waits(hours=each)
        house.hands_in(f"scan/A/R{number:02d}", "halifax")
    return Ground.of(house.state, house.clock)


def pace(ground: Ground, stage: str = "scan", site: str = "halifax") -> Pace:
    found, worker = ground.film.stage(stage), ground.film.site(site)
    assert found
    assert worker
    return ground.pace(found, worker)


def test_two_finished_jobs_are_no_history_yet():
    assert pace(scanned([1, 2])).why == "at 4,000 frames an hour, as the production's file says"


def test_a_site_is_judged_by_its_own_history_with_its_spread():
    found = pace(scanned([1, 2, 3]))  # all before noon: 60, 120, 180 working minutes for 8,000 frames
    assert found.why == "by halifax's own 3 finished jobs"
    assert found.likely == Fraction(120, 8000), "the median"
    # Tenths of 60, 120, 180 by linear interpolation (inclusive method, NIST/SEMATECH e-Handbook 7.2.6.2: memory).
    assert float(found.low * 8000) == pytest.approx(72)
    assert float(found.high * 8000) == pytest.approx(168)
    assert found.work(16000).likely == 240


def test_closed_hours_do_not_count_as_work():
    found = pace(scanned([24, 24, 24]))  # from nine to nine: 3 hours, 4 hours, then 1 hour of the next morning
    assert found.likely == Fraction(8 * 60, 8000)


def test_work_at_night_outside_every_shift_tells_nothing_about_shifts():
    house = House.of(film(element__A=MANY))
    for number in range(1, 4):
        house.clock = START.replace(day=4 + number, hour=2)  # 22:00 in Halifax
        house.claims(f"scan/A/R{number:02d}", "halifax")
        house.waits(hours=3)
        house.hands_in(f"scan/A/R{number:02d}", "halifax")
    assert pace(Ground.of(house.state, house.clock)).why == "at 4,000 frames an hour, as the production's file says"


def test_the_stage_s_rate_is_taken_where_the_site_has_none():
    ground = Ground.of(House.of(film()).state, START)
    assert pace(ground, "grade", "kolkata").likely == Fraction(60, 1000)
    assert not pace(ground, "grade", "kolkata").is_guess


def test_what_nobody_said_is_taken_for_granted_and_told():
    house = House.of(
        film(
            stage__grade={"rate": None},
            site__kolkata={"shift": [], "line": None},
            element__P={"reel": [{"name": "R01"}]},
        )
    )
    assert guesses_of(Ground.of(house.state, START)) == (
        "weekdays from 9 to 5 by their own clocks, for kolkata: no [[site.shift]] is given",
        "2,000 frames an hour for grade at lisbon, kolkata: no rate is given or known yet",
        "12,000 frames for P/R01: nobody counted, nothing was sent",
        "a line of 100 megabits a second for kolkata: no `line` is given, no receipt tells",
        "12,748,800 bytes a frame (10-bit DPX of 2048 x 1556): nothing was sent yet",
        "half of a reel's bytes, for work at edit that is handed on before it is done",
    )
    house.claims("scan/A/R01", "halifax")
    assert guesses_of(Ground.of(house.state, START))[-1].startswith("that whoever holds a job has worked on it")


def received(*carried: tuple[int, int]) -> tuple[House, Line]:
    house = House.of(film())
    for number, (size, took) in enumerate(carried, 1):
        made = version("A/R01", number)
        house.says("halifax", made)
        word = ReceiptSigned(version=made.version, manifest=made.manifest, whole=True, carried=size, took=took)
        house.says("kolkata", word)
    site = house.state.film().site("kolkata")
    assert site
    return house, line_of(house.state, site)


def test_a_line_is_as_fast_as_receipts_say():
    _, line = received((10_000_000, 1000), (40_000_000, 1000), (20_000_000, 1000))
    assert line.speed == 20_000_000 * 60
    assert megabits(line) == 160
    assert line.why == "measured: by its receipts"


def test_a_receipt_for_a_few_bytes_says_nothing_about_a_line():
    _, line = received((2_000, 1000))
    assert line.why == "as the production's file says"
    assert megabits(line) == 80


@given(st.integers(0, 10**13), st.integers(1, 10**6), st.integers(1, 10**6))
def test_bytes_take_the_time_of_both_lines_rounded_up_to_the_minute(size: int, one: int, other: int):
    lines = Line(Fraction(one), ""), Line(Fraction(other), "")
    minutes = minutes_for(size, *lines)
    assert minutes >= Fraction(size, one) + Fraction(size, other) > minutes - 1
    assert minutes_for(0, *lines) == 0
