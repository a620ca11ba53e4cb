"""What needs someone, in order of cost; and the sentence that the first page begins with."""

from datetime import timedelta

from relay.board.rows.needs import Cost, needs_of
from relay.board.rows.now import now_of, urgent_of
from relay.board.rows.reels import reel_rows
from relay.ledger.words import FolderNotSent
from tests.unit.board.board_scene import SOON, floor, view
from tests.unit.ledger.job_scene import receipt
from tests.unit.ledger.scene import COORDINATOR, NOON


def costs(told, **more):
    return [need.cost for need in needs_of(view(told, **more)) if need.cost is not Cost.LOAN]


def first_page(told, **more):
    seen = view(told, **more)
    return now_of(seen, reel_rows(seen), {}, {})


def test_a_quiet_day_needs_nobody_and_the_page_says_so():
    told = floor()
    assert costs(told) == []
    assert first_page(told).headline == "Nothing is wrong."


def test_what_nobody_took_in_time_needs_someone():
    told = floor()
    late = NOON + timedelta(hours=26)
    assert set(costs(told, now=late)) == {Cost.NOT_CLAIMED}
    assert first_page(told, now=late).headline.startswith("Nobody has taken the scan of A/R01, open for")


def test_a_refused_arrival_goes_before_all_else():
    told = floor()
    told.does("scan/A/R02")
    told.says("kolkata", receipt("A/R02/v1", whole=False))
    told.claims("scan/A/R01")
    late = NOON + timedelta(days=9)
    found = costs(told, now=late)
    assert found == sorted(found)
    assert found[0] is Cost.REFUSED
    assert Cost.NOT_FINISHED in found
    assert first_page(told, now=late).headline.startswith("Site kolkata refused A/R02/v1, 1 bad file: 1.dpx is changed")


def test_what_was_refused_needs_nobody_once_it_arrived_whole():
    told = floor()
    told.does("scan/A/R02")
    told.says("kolkata", receipt("A/R02/v1", whole=False))
    told.says("kolkata", receipt("A/R02/v1"))
    assert Cost.REFUSED not in costs(told)


def test_what_came_back_needs_someone_and_so_does_what_stands_on_it():
    told = floor()
    told.delivers("scan/A/R01")
    told.opens()
    told.gives_back("scan/A/R01")
    found = costs(told)
    assert Cost.RETURNED in found
    assert Cost.STANDS_ON_RETURNED in found


def test_a_worker_that_receives_nothing_for_hours_is_silent():
    told = floor()
    told.does("scan/A/R01")
    assert Cost.SILENT not in costs(told, now=NOON + timedelta(hours=1))
    assert Cost.SILENT in costs(told, now=NOON + timedelta(hours=5))


def test_a_machine_without_signs_of_life_is_silent():
    told = floor()
    told.delivers("scan/A/R01")
    told.opens()
    told.claims("copy/A/R01", lease=300)
    assert Cost.SILENT in costs(told, silent={"copy/A/R01/1": 400})


def test_a_loan_is_named_a_month_before_it_is_due():
    told = floor()  # due back on 31 December 2026

    def loans(now):
        return [need for need in needs_of(view(told, now=now)) if need.cost is Cost.LOAN]

    assert loans(SOON) == []
    assert "licensed carriers" in loans(NOON.replace(month=12, day=5))[0].says
    assert "was due back on 31 December 2026" in loans(NOON.replace(year=2027))[0].title


def test_a_store_that_is_away_is_said_and_does_not_hide_the_rest():
    told = floor()
    told.does("scan/A/R02")
    told.says("kolkata", receipt("A/R02/v1", whole=False))
    found = costs(told, stale_since=SOON - timedelta(minutes=9))
    assert found[0] is Cost.REFUSED
    assert found[-1] is Cost.STALE


def test_an_offer_waits_for_its_answer():
    told = floor()
    told.claims("scan/A/R01")
    from relay.ledger.job_words import HandOnOffered

    epoch = told.job("scan/A/R01").claim.epoch
    told.revises(
        told.state.film().model_copy(
            update={"route": tuple(stage.model_copy(update={"may_move": True}) for stage in told.state.film().route)}
        )
    )
    told.says("lisbon", HandOnOffered(job="scan/A/R01/1", epoch=epoch, to="kolkata", done="half", left="the rest"))
    assert Cost.OFFERED in costs(told)
    page = first_page(told)
    assert (page.headline, page.is_wrong) == ("Nothing is wrong. 1 thing to keep in mind.", False)
    assert page.kicker == "offered"
    cut_off = first_page(told, stale_since=SOON - timedelta(minutes=9))
    assert (cut_off.headline[:9], cut_off.is_wrong, cut_off.kicker) == ("The store", True, "stale")


def test_a_loan_to_keep_in_mind_is_nothing_wrong():
    needs = needs_of(view(floor(), now=NOON.replace(month=12, day=5)))
    assert Cost.LOAN in {need.cost for need in needs}
    assert {need.cost for need in needs} - {need.cost for need in urgent_of(needs)} == {Cost.LOAN}


def test_the_hours_to_the_premiere_are_counted():
    told = floor()
    premiere = told.state.film().premiere.instant()
    for hours in (1, 47, 7_000):
        page = first_page(told, now=premiere - timedelta(hours=hours, minutes=30))
        assert (page.premiere.hours, page.premiere.is_over) == (hours, False)


def test_the_first_page_names_what_is_on_its_way():
    told = floor()
    told.does("scan/A/R01")
    crossing = first_page(told).crossings
    assert [(each.version, each.by) for each in crossing] == [("A/R01/v1", "lisbon")]
    told.says(crossing[0].to, receipt("A/R01/v1"))
    assert first_page(told).crossings == ()


def test_progress_counts_frames_that_were_accepted():
    told = floor()
    told.delivers("scan/A/R01")
    told.accepts("scan/A/R01", COORDINATOR)
    scan = next(each for each in first_page(told).progress if each.stage == "scan")
    assert (scan.frames, scan.of, scan.reels, scan.of_reels) == (16_000, 48_000, 1, 3)


def test_a_folder_that_could_not_be_sent_needs_someone():
    told = floor()
    told.says("lisbon", FolderNotSent(folder="A_R0I", why="it matches no reel"))
    assert Cost.NOT_SENT in costs(told)
    assert first_page(told).headline.startswith("A_R0I lies in Site lisbon's to-send/")
