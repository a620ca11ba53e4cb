"""What was found blocks an acceptance; a person overrules just that, with a reason, as at the command."""

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from relay.board.rows.acts import blocks_on
from relay.board.web import timed
from relay.ledger.job_state import Standing
from relay.ledger.words import VersionInspected
from relay.model import digest_of
from tests.unit.board.board_house import GRADER, RULER, SCANNER
from tests.unit.board.conftest import Serve

JOB = "scan/A/R01/1"


def looks(house, version, blocking, report):
    manifest = house.ledger(GRADER).follow().versions[version].manifest
    told = {"version": version, "manifest": manifest, "blocking": blocking, "warning": 0}
    house.says(GRADER, VersionInspected(**told, report=digest_of(report)))


def overrules(house):
    state = house.ledger(RULER).follow()
    return blocks_on(state, state.jobs[JOB])[1]


def accept(asker, house, **more):
    """Say it with the page's own field, once the board knows what the ledger knows."""
    wanted = overrules(house)
    while (job := asker.job(JOB))["overrules"] != wanted:
        pass
    return asker.act("accept", JOB, **{name: value or job["overrules"] for name, value in more.items()})


def test_what_was_found_blocks_until_a_person_says_why_it_is_good_all_the_same(house, serve: Serve):
    version = house.delivers(SCANNER, JOB, range(24), GRADER)
    looks(house, version, 2, b"two scratches")
    ruler = serve(RULER)
    refused = accept(ruler, house)
    assert (refused.status_code, "blocks A/R01/v1" in refused.json()["words"]) == (422, True)
    page = ruler.sees("Accept all the same", "/jobs")
    assert "Kolkata looked at A/R01/v1, and 2 findings block it." in page
    for note in ("", "  "):
        assert ruler.act("accept", JOB, despite=overrules(house), **({"note": note} if note else {})).status_code == 422
    assert accept(ruler, house, despite="", note="both are in the camera negative").status_code == 200
    job = house.ledger(RULER).follow().jobs[JOB]
    assert (job.standing, job.reason) == (Standing.ACCEPTED, "both are in the camera negative")


def test_what_is_found_after_the_page_was_looked_at_is_not_overruled(house, serve: Serve):
    version = house.delivers(SCANNER, JOB, range(24), GRADER)
    looks(house, version, 1, b"one scratch")
    seen, ruler = overrules(house), serve(RULER)
    looks(house, version, 9, b"nine tears")
    answer = ruler.act("accept", JOB, despite=seen, note="a scratch in the negative")
    assert (answer.status_code, "looked at anew" in answer.json()["words"]) == (409, True)
    assert house.ledger(RULER).follow().jobs[JOB].standing is Standing.HANDED_IN


def test_nothing_else_is_said_despite_anything(house, serve: Serve):
    house.delivers(SCANNER, JOB, range(24), GRADER)
    ruler = serve(RULER)
    assert ruler.act("return", JOB, reason="soft", despite="A/R01/v1").status_code == 422
    assert accept(ruler, house, despite="A/R01/v1", note="looks good").status_code == 409
    assert "Accept all the same" not in ruler.get("/jobs").text


def test_a_form_overrules_where_no_script_runs(house, serve: Serve):
    version = house.delivers(SCANNER, JOB, range(24), GRADER)
    looks(house, version, 1, b"one scratch")
    ruler = serve(RULER)
    ruler.sees("Accept all the same", "/jobs")
    form = {"act": "accept", "job": JOB, "op": "ab" * 16, "seen": ruler.job(JOB)["seen"], "token": ruler.token()}
    more = {"despite": overrules(house), "note": "it is in the negative", "back": "/jobs"}
    assert "is accepted" in ruler.post("/act", data=form | more).text


def test_a_time_within_a_sentence_is_the_reader_s_own_with_the_site_s_beside():
    # Halifax in July is three hours behind UTC: Atlantic Daylight Time (IANA tzdata).
    shown = timed("not <b>in</b> time: open since 2027-07-05 02:30 UTC", ZoneInfo("America/Halifax"), "in Halifax")
    assert shown == (
        'not &lt;b&gt;in&lt;/b&gt; time: open since <time datetime="2027-07-05T02:30:00Z">5 Jul 02:30 UTC</time> '
        '<span class="own" data-in="America/Halifax">Sun 23:30 in Halifax</span>'
    )
    # The day of the week, too, is another where the reader is.
    assert (
        timed("until Mon 2027-07-05 02:30 UTC.")
        == 'until <time datetime="2027-07-05T02:30:00Z">5 Jul 02:30 UTC</time>.'
    )
    assert timed("no time at all & none") == "no time at all &amp; none"
    assert datetime(2027, 7, 5, 2, 30, tzinfo=UTC).astimezone(ZoneInfo("America/Halifax")).strftime("%a %H:%M") in shown


DRAWN = re.compile(r"<title>[^<]*</title>|aria-label=\"[^\"]*\"")
UTC_ALONE = re.compile(r"\d\d:\d\d UTC(?! \(\w{3} \d\d:\d\d in \w+\))")


def test_no_page_tells_a_late_job_s_time_in_utc_alone(house, serve: Serve):
    house.at(hours_ago=60)
    house.claims(SCANNER, JOB, hours=30)
    asker = serve()
    for path in ("/", "/reels", "/reels/A/R01", "/jobs", "/ledger"):
        text = asker.sees("scan", path)
        drawn = "".join(DRAWN.findall(text))  # where no element can stand the page's script tells it anew
        assert not UTC_ALONE.search(drawn), path
        outside = "".join(part.rpartition("</time>")[2] for part in DRAWN.sub("", text).split("<time "))
        assert not re.search(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC", outside), path
        assert "Mind:" not in text or "not finished in time: meant until <time" in text
    assert "in Halifax" in asker.get("/jobs").text.partition("Mind:")[2][:300]
