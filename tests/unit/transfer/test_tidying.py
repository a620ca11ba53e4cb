"""Making room removes what nobody needs and the bucket holds whole, and nothing else: each condition is broken once."""

import json
import os
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from relay.cli.copies import copies_of
from relay.clock import SYSTEM_CLOCK
from relay.ledger import work
from relay.model import digest_of
from relay.store.keys import object_key
from relay.transfer import tidying
from relay.transfer.tidying import Found, Rule, Verdict, stale_signs, sweep_hidden, tidy
from tests.unit.workers.house import COORDINATOR, SCAN, House, fill, film, reel_of_frames
from workers.automatic import _claim
from workers.turn import Lane

MADE = "A/R001/v1"
NOW = Rule(older=timedelta(0))
STAGES = [{"name": "scan", "of": ["A/R001"]}, {"name": "grade", "after": ["scan"]}]
FILES = reel_of_frames()


@pytest.fixture
def house(tmp_path: Path) -> House:
    """Lisbon scanned a reel, and kolkata received it; the work is accepted, and nobody works on anything."""
    house = House(tmp_path, film(STAGES, {COORDINATOR: [], "lisbon": ["scan"], "kolkata": ["grade"]}))
    with house.turn("lisbon") as turn:
        turn.run(Lane.LOOK)
        work.claim(turn.desk.ledger, turn.desk.pen, "scan/A/R001")
        fill(house.places("lisbon").to_send / "A_R001", FILES)
        turn.run(Lane.SEND)
    with house.turn("kolkata") as turn:
        turn.run(Lane.RECEIVE)
    with house.desk(COORDINATOR) as desk:
        work.accept(desk.ledger, desk.pen, "scan/A/R001")
        work.withdraw(desk.ledger, desk.pen, "grade/A/R001", "it is good as it is")
    return house


def tidied(house: House, site: str, rule: Rule = NOW, *, remove: bool = True) -> list[Found]:
    places = house.places(site)
    with house.desk(site) as desk:
        return tidy(desk, [places.sent, places.arrived], rule, remove=remove)


def lies(house: House, site: str = "lisbon") -> Path:
    places = house.places(site)
    return (places.sent if site == "lisbon" else places.arrived) / "A_R001_v1"


def test_what_was_sent_or_arrived_and_is_whole_in_the_bucket_goes_and_the_ledger_knows(house: House) -> None:
    before = house.state()
    assert {copy.place for copy in copies_of(before, before.versions[MADE])} == {"bucket", "kolkata"}
    for site in ("lisbon", "kolkata"):
        [found] = tidied(house, site)
        assert (found.verdict, found.version, found.folder) == (Verdict.GONE, MADE, lies(house, site))
        assert not lies(house, site).exists()
        assert list(lies(house, site).parent.iterdir()) == []
        assert tidied(house, site) == []
    state = house.state()
    assert [copy.outcome for copy in copies_of(state, state.versions[MADE])] == ["whole"]
    assert copies_of(state, state.versions[MADE])[0].place == "bucket"


def test_without_being_told_to_nothing_is_removed_or_said_or_read(house: House) -> None:
    head = house.state().sequence
    [found] = tidied(house, "lisbon", remove=False)
    assert found.verdict is Verdict.GOES
    assert lies(house).is_dir()
    assert house.state().sequence == head


def is_fresh(house: House) -> Rule:
    return Rule(older=timedelta(days=1))


def was_edited(house: House) -> Rule:
    (lies(house) / "frame.0086401.dpx").write_bytes(b"a better frame")
    return NOW


def has_more_in_it(house: House) -> Rule:
    fill(lies(house), {"notes/by hand.txt": b"the splice is at 412"})
    return NOW


def lacks_a_file(house: House) -> Rule:
    (lies(house) / "frame.0086401.dpx").unlink()
    return NOW


def stored(house: House) -> Path:
    path = house.root / "store" / object_key(digest_of(FILES["frame.0086400.dpx"]))
    path.chmod(0o644)
    return path


def is_bad_in_the_bucket(house: House) -> Rule:
    stored(house).write_bytes(b"rotten")
    return NOW


def is_gone_from_the_bucket(house: House) -> Rule:
    stored(house).unlink()
    return NOW


def went_bad_since_it_was_read(house: House) -> Rule:
    assert tidied(house, "kolkata")[0].verdict is Verdict.GONE, "by which the bucket's copy was read and found whole"
    stored(house).write_bytes(b"rotten")
    return Rule(older=timedelta(0), read_within=timedelta(0))


def was_returned(house: House) -> Rule:
    with house.desk(COORDINATOR) as desk:
        work.give_back(desk.ledger, desk.pen, "scan/A/R001", "a scratch")
        work.ask(desk.ledger, desk.pen, "grade", "A/R001", (MADE,), (), None, "to compare")
    return NOW


def is_being_worked_on(house: House) -> Rule:
    with house.desk(COORDINATOR) as desk:
        work.ask(desk.ledger, desk.pen, "grade", "A/R001", (MADE,), (), None, "another pass")
    return NOW


STAYS: list[tuple[Callable[[House], Rule], str]] = [
    (is_fresh, "younger than 1 days"),
    (was_edited, "somebody worked in it"),
    (has_more_in_it, "somebody worked in it"),
    (lacks_a_file, "somebody worked in it"),
    (is_bad_in_the_bucket, "the bucket's copy is bad"),
    (is_gone_from_the_bucket, "the bucket's copy is bad"),
    (went_bad_since_it_was_read, "the bucket's copy is bad"),
    (was_returned, "is not over"),
    (is_being_worked_on, "grade/A/R001/2 is not over"),
]


@pytest.mark.parametrize(("spoil", "why"), STAYS, ids=lambda each: getattr(each, "__name__", ""))
def test_a_folder_stays_that(house: House, spoil: Callable[[House], Rule], why: str) -> None:
    rule = spoil(house)
    before = {path.relative_to(lies(house)): path.stat().st_size for path in lies(house).rglob("*")}
    [found] = tidied(house, "lisbon", rule)
    assert found.verdict is Verdict.STAYS
    assert why in found.why
    assert {path.relative_to(lies(house)): path.stat().st_size for path in lies(house).rglob("*")} == before


def test_what_is_meant_for_this_site_stays(house: House) -> None:
    with house.desk(COORDINATOR) as desk:
        work.ask(desk.ledger, desk.pen, "grade", "A/R001", (MADE,), (), "kolkata", "another pass")
    [found] = tidied(house, "kolkata")
    assert (found.verdict, found.why) == (Verdict.STAYS, "it is meant for this site")


def test_a_copy_that_may_mend_the_bucket_stays(house: House) -> None:
    stored(house).write_bytes(b"rotten")
    assert "the bucket's copy is bad" in tidied(house, "kolkata")[0].why
    [found] = tidied(house, "lisbon")
    assert found.why == "something of it is bad in the bucket: this copy may mend it"


def test_a_folder_that_is_written_to_while_it_is_looked_at_comes_back(house: House, monkeypatch) -> None:
    looked = tidying.survey

    def meddled(folder: Path):
        found = looked(folder)
        if not folder.name.startswith("."):
            (folder / "frame.0086401.dpx").write_bytes(FILES["frame.0086401.dpx"])
        return found

    monkeypatch.setattr(tidying, "survey", meddled)
    [found] = tidied(house, "lisbon")
    assert (found.verdict, found.why) == (Verdict.STAYS, "somebody wrote to it a moment ago")
    assert sorted(path.name for path in lies(house).iterdir()) == sorted(FILES)


def test_folders_of_people_are_not_even_looked_at(house: House) -> None:
    fill(house.places("lisbon").sent / "holiday_v1", {"beach.tif": b"sand"})
    elsewhere = lies(house).rename(house.root / "A_R001_v1")
    assert tidied(house, "lisbon") == []
    assert elsewhere.is_dir()


def test_what_a_killed_run_had_begun_to_remove_goes_the_next_time(house: House) -> None:
    lies(house).rename(lies(house).with_name(".relay-removing-A_R001_v1"))
    sweep_hidden([house.places("lisbon").sent])
    assert list(house.places("lisbon").sent.iterdir()) == []


def test_signs_of_life_go_when_their_claim_is_over_and_not_before(tmp_path: Path) -> None:
    house = House(tmp_path, film([SCAN], {COORDINATOR: [], "lisbon": ["scan"]}, reels=2))
    with house.turn("lisbon") as turn:
        turn.run(Lane.LOOK)
        turn.run(Lane.DO)
        with house.desk(COORDINATOR) as desk:
            work.ask(desk.ledger, desk.pen, "scan", "A/R001", (), (), None, "once more")
        claim = _claim(turn.desk, "scan/A/R001/2")
        turn.life.beat("scan/A/R001/2", claim.epoch)
        signs = {path.name for path in (house.root / "store/alive").iterdir()}
        stale = stale_signs(turn.desk)
        assert (len(signs), len(stale)) == (3, 2)
        assert tidying.forget_signs(turn.desk, stale) == 2
        [left] = (house.root / "store/alive").iterdir()
        assert left.name.endswith(f"-{claim.epoch}")


def test_the_command_says_what_would_go_then_removes_it(house: House) -> None:
    from tests.faults.test_workers_run import relay

    words = ("tidy", "--folder", house.root / "lisbon", "--older", "0")
    would = relay(house, "lisbon", *words)
    assert "1 folder looked at: would make room for" in would.out
    assert lies(house).is_dir()
    did = relay(house, "lisbon", *words, "--remove", "--json")
    told = json.loads(did.out)["folders"]
    assert [(each["verdict"], each["version"]) for each in told] == [("gone", MADE)]
    assert not lies(house).exists()
    nothing = relay(house, "lisbon", "tidy", "--folder", house.root / "store")
    assert nothing.code == 2
    assert "there is no sent/ and no arrived/" in nothing.err


def test_age_counts_from_the_last_change_not_from_dates_that_copies_keep(house: House) -> None:
    """utime(2) sets the time of modification; that of change nobody can set."""
    long_ago = SYSTEM_CLOCK.now().timestamp() - 400 * 86400
    for path in lies(house).iterdir():
        os.utime(path, (long_ago, long_ago))
    assert tidied(house, "lisbon", Rule(older=timedelta(days=30)))[0].why == "it is younger than 30 days"
