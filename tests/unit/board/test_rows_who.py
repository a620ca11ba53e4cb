"""Who is awake, who may say what, and what a guest sees."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from relay.board.rows.acts import acts_on, seen
from relay.board.rows.jobs import job_rows
from relay.board.rows.ledger import ledger_lines, spoken
from relay.board.rows.needs import needs_of
from relay.board.rows.now import resting, turns_now
from relay.board.rows.reels import reel_rows
from relay.board.rows.sites import Day, day_of, days_in, site_rows
from relay.board.rows.view import seen_by
from relay.ledger.decision_words import DecisionMade, Evidence
from relay.ledger.words import CopyChecked
from relay.model import Place
from tests.unit.board.board_scene import GUEST, LISBON, RULER, SOON, floor, view
from tests.unit.ledger.job_scene import receipt
from tests.unit.ledger.scene import COORDINATOR

NOT_USED = DecisionMade(
    place=Place(about="B/R01"), verdict="not used", because="it has decayed", instead=Place(about="A/R01")
)


def test_a_day_in_tokyo_falls_where_its_clock_says():
    shown = day_of(datetime(2026, 3, 2, 12, 30, tzinfo=UTC))
    (first, second) = days_in(shown, ZoneInfo("Asia/Tokyo"))  # nine hours ahead, with no change of clocks
    assert (first.start, first.end) == (shown.start, datetime(2026, 3, 2, 10, tzinfo=UTC))
    assert second.start == datetime(2026, 3, 2, 22, tzinfo=UTC)


def test_the_night_of_the_clock_change_is_an_hour_shorter():
    # Directive 2000/84/EC: summer time begins at 01:00 UTC on the last Sunday in March, 29 March 2026.
    start = datetime(2026, 3, 28, 12, tzinfo=UTC)
    shown = Day(start=start, end=start + timedelta(hours=24), now=start)
    evening, morning = days_in(shown, ZoneInfo("Europe/Lisbon"))
    assert (morning.start - evening.end) == timedelta(hours=11)


def test_a_site_row_says_what_it_holds_and_owes():
    told = floor()
    told.claims("scan/A/R01", "lisbon")
    told.does("scan/B/R01", "kolkata")
    rows = {row.site: row for row in site_rows(view(told), {}, {})}
    assert rows["lisbon"].holds == ("scan/A/R01/1",)
    assert any("B/R01/v1" in row.owes for row in rows.values())
    assert rows["kolkata"].offset == "+05:30"
    assert rows[COORDINATOR].is_coordinator
    assert rows["lisbon"].is_awake is None


def test_every_reel_is_in_somebody_s_turn_or_said_to_rest():
    told = floor()
    told.claims("scan/A/R01", "lisbon")
    told.does("scan/B/R01", "kolkata")
    told.says("kolkata", receipt("B/R01/v1"))
    told.accepts("scan/B/R01")
    shown = view(told)
    turns, rest = turns_now(shown), resting(reel_rows(shown))
    moving = {move.job.partition("/")[2].rpartition("/")[0] for turn in turns for move in turn.moves}
    still = [reel for each in rest for reel in each.reels]
    assert len(set(still)) == len(still) > 0
    assert moving.isdisjoint(still)
    assert moving | set(still) == set(shown.film.reel_names())
    assert len({each.words for each in rest}) == len(rest)


def may(told, name, viewer):
    return acts_on(view(told), told.job(name), viewer)


def test_buttons_are_those_that_the_ledger_would_take():
    told = floor()
    assert may(told, "scan/A/R01", LISBON) == ("claim",)
    assert may(told, "scan/A/R01", GUEST) == ()
    told.claims("scan/A/R01", "lisbon")
    assert may(told, "scan/A/R01", LISBON) == ("extend", "release")
    assert may(told, "scan/A/R01", RULER) == ("reassign", "withdraw")
    told.hands_in("scan/A/R01")
    assert "accept" not in may(told, "scan/A/R01", RULER)
    told.says("kolkata", receipt("A/R01/v1"))
    assert may(told, "scan/A/R01", RULER)[:2] == ("accept", "return")
    assert may(told, "scan/A/R01", LISBON) == ()


def test_every_step_of_a_job_looks_different_to_a_button():
    told = floor()
    looks = [seen(told.job("scan/A/R01"))]
    told.claims("scan/A/R01")
    looks.append(seen(told.job("scan/A/R01")))
    told.hands_in("scan/A/R01")
    looks.append(seen(told.job("scan/A/R01")))
    told.says("kolkata", receipt("A/R01/v1"))
    told.gives_back("scan/A/R01")
    looks.append(seen(told.job("scan/A/R01")))
    assert len(set(looks)) == 4


def test_a_guest_sees_the_archive_s_own_elements_and_nothing_else():
    told = floor()
    told.does("scan/A/R01")
    told.does("scan/B/R01")
    told.says("kolkata", receipt("A/R01/v1", whole=False))
    limited = seen_by(view(told), GUEST)
    assert {row.reel for row in reel_rows(limited)} == {"B/R01"}
    assert {row.reel for row in job_rows(limited, GUEST)} == {"B/R01"}
    shown = f"{reel_rows(limited)} {job_rows(limited, GUEST)} {needs_of(limited)} {site_rows(limited, {}, {})}"
    assert "A/R0" not in shown


def test_a_guest_reads_only_the_words_about_the_archive_s_own_reels():
    told = floor()
    raws = list(enumerate(told.raws))
    lines = ledger_lines(raws, only={"B/R01"})
    assert lines
    assert all(line.reels == ("B/R01",) for line in lines)
    assert "A/R0" not in str(lines)


def test_the_index_agrees_with_the_lines_that_were_read_whole():
    told = floor()
    told.does("scan/A/R01")
    made = told.state.versions["A/R01/v1"]
    copy = CopyChecked(version=made.name, manifest=made.manifest, place="bucket", outcome="whole")
    told.says("kolkata", receipt("A/R01/v1"), copy, NOT_USED)
    for line, raw in zip(ledger_lines(enumerate(told.raws)), told.raws, strict=True):
        quick = spoken(raw)
        assert (quick.by, quick.time, quick.reels) == (line.by, line.time, line.reels)


def test_a_guest_reads_what_was_decided_about_their_own_print_without_the_prints_of_others():
    told = floor()
    told.does("scan/A/R01")
    told.does("scan/B/R01")
    seen = (Evidence(version="B/R01/v1"), Evidence(version="B/R01/v1", against="A/R01/v1"))
    told.says("lisbon", NOT_USED.model_copy(update={"evidence": seen}))
    said = str(ledger_lines(enumerate(told.raws), only={"B/R01"})[-1].said)
    assert "B/R01 is not used: it has decayed" in said
    assert "seen: B/R01/v1'" in said
    assert "A/R01" not in said


def test_everybody_but_a_guest_sees_all():
    told = view(floor(), SOON)
    assert seen_by(told, RULER) is told


def test_nobody_is_offered_to_accept_their_own_work():
    told = floor()
    halifax = LISBON.model_copy(update={"site": "halifax"})  # an acceptor of scans
    told.delivers("scan/A/R01", "halifax")
    told.delivers("scan/A/R02", "lisbon")
    assert "accept" not in may(told, "scan/A/R01", halifax)
    assert "accept" in may(told, "scan/A/R02", halifax)
