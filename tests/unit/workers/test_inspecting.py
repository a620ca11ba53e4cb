"""What is handed in is looked at by the site that receives it, while it arrives, before anybody accepts it."""

import sys
from io import BytesIO
from pathlib import Path

import numpy as np
import numpy.ma  # NumPy loads it at its first median, and bytes are counted here
import pytest
from PIL import Image

from relay.errors import MissingError, RefusedError
from relay.ledger import work
from relay.media import eyes
from relay.media.eyes import Eyes
from relay.media.findings import Grade, Kind
from relay.media.inspection import Inspection
from relay.media.thumbnails import COLUMNS, ROWS
from relay.model import FrameRange, ScanMap
from relay.transfer.gaps_before import known_gaps, sources_of
from relay.transfer.handover import Sending, receive, send
from relay.transfer.inspecting import conclude, inspecting, send_and_look
from relay.transfer.looked import newest_look, read_object, read_report, thumbnails_of
from tests.references.damage import FIRST, titled, written
from tests.unit.workers.house import COORDINATOR, House, film
from workers.turn import Lane

GRAIN = np.random.default_rng(11)


@pytest.fixture
def house(tmp_path: Path) -> House:
    stages = [{"name": "scan", "inspected": True}, {"name": "grade", "after": ["scan"]}]
    production = film(stages, {COORDINATOR: [], "halifax": ["scan"], "tokyo": ["grade"]})
    return House(tmp_path, production)


def frames(folder: Path, count: int = 40, size: tuple[int, int] = (30, 40)) -> Path:
    (folder / "frames").mkdir(parents=True)
    for at in range(count):
        picture = GRAIN.integers(9000, 50000, (*size, 3), dtype=np.uint16)
        body = titled(written(folder / "f.dpx", picture), at, count, 18.0, None, b"")
        (folder / "frames" / f"A_R001.{FIRST + at:07d}.dpx").write_bytes(body)
    (folder / "f.dpx").unlink()
    return folder


def hand_in(house: House, folder: Path) -> None:
    with house.desk("halifax") as desk:
        work.open_due(desk.ledger, desk.pen)
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
        send(desk, Sending(folder, "A/R001", may_grow=True, job="scan/A/R001/1"))


def accept(house: House, **how: object) -> None:
    with house.desk(COORDINATOR) as desk:
        work.accept(desk.ledger, desk.pen, "scan/A/R001", **how)


def lack_the_libraries(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(eyes, "find_spec", lambda _name: None)


def test_a_good_reel_is_looked_at_as_it_arrives_and_then_accepted(house: House, tmp_path: Path):
    hand_in(house, frames(tmp_path / "scan"))
    with house.turn("tokyo") as turn:
        assert turn.run(Lane.RECEIVE) == 1
        assert turn.run(Lane.INSPECT) == 0  # nothing was left to look at
    (looked,) = house.state().versions["A/R001/v1"].inspections
    assert (looked.site, looked.blocking) == ("tokyo", 0)
    with house.desk(COORDINATOR) as desk:
        assert read_report(desk, looked).looked_at == 40
        sheet, strip = (Image.open(BytesIO(read_object(desk, each))) for each in (looked.sheet, looked.strip))
        (tmp_path / "small.npy").write_bytes(read_object(desk, looked.thumbnails))
        small = thumbnails_of(desk, house.state().versions["A/R001/v1"])
    assert sheet.size[0] > 900
    assert strip.size[0] == 30 * 64
    records = np.load(tmp_path / "small.npy", allow_pickle=False)  # NumPy's own reader, which knows nothing of us
    assert records["number"].tolist() == list(range(FIRST, FIRST + 40))
    assert small.numbers.tolist() == list(range(40))  # by the reel: the first file is its start mark
    assert small.grey.shape == (40, ROWS, COLUMNS)
    assert np.array_equal(small.grey, records["grey"])
    accept(house)


def test_every_frame_was_looked_at_when_the_folder_appears(house: House, tmp_path: Path):
    hand_in(house, frames(tmp_path / "scan", 8))
    with house.desk("tokyo") as desk:
        version = desk.ledger.follow().version("A/R001/v1")
        with inspecting(desk, version, desk.ledger.state.jobs["scan/A/R001/1"]) as inspection:
            (tmp_path / "arrived").mkdir()
            receive(desk, version.name, tmp_path / "arrived" / "A_R001", onlooker=inspection.look)
            assert not any(inspection.wants(file.path) for file in desk.manifests.read(version.manifest).files)
            conclude(desk, version, tmp_path / "arrived" / "A_R001", inspection)
            assert inspection.digests == {}  # nothing was read again


def rchar(pid: int | str = "self") -> int:
    lines = Path(f"/proc/{pid}/io").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("rchar"))


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's own count of bytes read is Linux's")
def test_each_byte_is_read_once_in_a_whole_hand_in_at_either_end(house: House, tmp_path: Path):
    folder = frames(tmp_path / "scan", 10, (500, 700))
    size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
    with house.desk("halifax") as desk, Eyes(1) as seeing:
        work.open_due(desk.ledger, desk.pen)
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
        Inspection(["a.1.dpx"], seeing).look(
            "a.1.dpx", memoryview(bytearray(9))
        )  # the process has loaded what it needs
        child = seeing._children[0]._process.pid
        before = rchar() + rchar(child)
        sent, report = send_and_look(desk, Sending(folder, "A/R001", may_grow=True, job="scan/A/R001/1"), seeing)
        read = rchar() + rchar(child) - before
    assert (sent.deposit.sent_objects, report.looked_at, report.blocking()) == (11, 10, 0)
    assert size <= read < size * 1.05  # and the ledger's few entries
    with house.desk("tokyo") as desk, Eyes(1) as seeing:
        version = desk.ledger.follow().version("A/R001/v1")
        inspection = Inspection([file.path for file in desk.manifests.read(version.manifest).files], seeing)
        inspection.look("frames/A_R001.0086400.dpx", memoryview(bytearray(9)))
        inspection._seen.clear()
        child = seeing._children[0]._process.pid
        before = rchar() + rchar(child)
        receive(desk, version.name, tmp_path / "arrived", onlooker=inspection.look)
        inspection.look_at_rest(tmp_path / "arrived")
        read = rchar() + rchar(child) - before
    assert inspection.report().looked_at == 10
    assert size <= read < size * 1.05


def test_nothing_that_blocks_is_handed_in_by_whoever_looks_while_sending(house: House, tmp_path: Path):
    folder = frames(tmp_path / "scan", 6)
    bad = folder / "frames" / f"A_R001.{FIRST + 3:07d}.dpx"
    bad.write_bytes((whole := bad.read_bytes())[:-900])
    with house.desk("halifax") as desk, Eyes(1) as seeing:
        work.open_due(desk.ledger, desk.pen)
        work.claim(desk.ledger, desk.pen, "scan/A/R001")
        sending = Sending(folder, "A/R001", may_grow=True, job="scan/A/R001/1")
        with pytest.raises(RefusedError, match=f"in 1 of its parts; first truncated, frames {FIRST + 3}"):
            send_and_look(desk, sending, seeing)
        assert house.state().versions == {}
        bad.write_bytes(whole)
        sent, report = send_and_look(desk, sending, seeing)
    assert (sent.version.name, sent.deposit.sent_objects, report.blocking()) == ("A/R001/v1", 2, 0)


def test_a_truncated_frame_blocks_acceptance_until_a_person_says_why_not(house: House, tmp_path: Path):
    folder = frames(tmp_path / "scan")
    bad = folder / "frames" / f"A_R001.{FIRST + 7:07d}.dpx"
    bad.write_bytes(bad.read_bytes()[:-2000])
    hand_in(house, folder)
    with house.turn("tokyo") as turn:
        turn.run(Lane.RECEIVE)
    (looked,) = house.state().versions["A/R001/v1"].inspections
    with house.desk(COORDINATOR) as desk:
        (finding,) = [each for each in read_report(desk, looked).findings if each.kind is Kind.TRUNCATED]
    assert [(each.first, each.last) for each in finding.frames] == [(FIRST + 7, FIRST + 7)]
    with pytest.raises(RefusedError, match="blocks A/R001/v1, by 1 of what was found"):
        accept(house)
    accept(house, note="the archive's film ends there", despite=True)


def test_a_worker_killed_between_receipt_and_word_looks_at_what_lies_there(house: House, tmp_path: Path):
    hand_in(house, frames(tmp_path / "scan"))
    with house.turn("tokyo") as turn:
        receive(turn.desk, "A/R001/v1", turn.room.places.arrival_of("A/R001/v1"))  # and killed before it could say more
        assert house.state().versions["A/R001/v1"].inspections == ()
        with pytest.raises(RefusedError, match="nobody looked"):
            accept(house)
        assert Lane.INSPECT in (turn.look(), turn.wanted())[1]
        assert turn.run(Lane.INSPECT) == 1
    assert house.state().versions["A/R001/v1"].inspections[0].blocking == 0


def test_a_worker_without_the_libraries_says_so_once_and_looks_when_it_has_them(
    house: House, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    hand_in(house, frames(tmp_path / "scan", 3))
    with house.turn("tokyo") as turn:
        lack_the_libraries(monkeypatch)
        turn.run(Lane.RECEIVE)
        turn.run(Lane.INSPECT)
        (unseen,) = house.state().versions["A/R001/v1"].unseen
        assert (unseen.site, "relay-handoff[media]" in unseen.why) == ("tokyo", True)
        assert Lane.INSPECT not in (turn.look(), turn.wanted())[1]
        with house.desk(COORDINATOR) as desk, pytest.raises(MissingError, match=r"tokyo says .what reads pictures"):
            newest_look(desk.ledger.follow().versions["A/R001/v1"])
        with pytest.raises(RefusedError, match="nobody looked at A/R001/v1: entry"):
            accept(house)
        monkeypatch.undo()
        assert Lane.INSPECT in turn.wanted()
        assert turn.run(Lane.INSPECT) == 1
    accept(house)


def test_what_nobody_could_look_at_is_accepted_with_a_reason(
    house: House, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    lack_the_libraries(monkeypatch)
    hand_in(house, frames(tmp_path / "scan", 3))
    with house.turn("tokyo") as turn:
        turn.run(Lane.RECEIVE)
    accept(house, despite=True, note="seen on the bench in Halifax")


def test_a_gap_that_an_accepted_version_has_as_well_only_warns(house: House, tmp_path: Path):
    folder = frames(tmp_path / "scan", 12)
    for at in (5, 6):
        (folder / "frames" / f"A_R001.{FIRST + at:07d}.dpx").unlink()
    hand_in(house, folder)
    with house.turn("tokyo") as turn:
        turn.run(Lane.RECEIVE)
    accept(house, despite=True, note="lost at an old join")
    (folder / "frames" / f"A_R001.{FIRST + 8:07d}.dpx").unlink()
    with house.desk("tokyo") as desk:
        work.open_due(desk.ledger, desk.pen)
        work.claim(desk.ledger, desk.pen, "grade/A/R001")
        send(desk, Sending(folder, "A/R001", may_grow=True, job="grade/A/R001/1"))
        job = desk.ledger.state.jobs["grade/A/R001/1"]
        assert [each.name for each in sources_of(desk.ledger.state, "A/R001", job, ())] == ["A/R001/v1"]
        with inspecting(desk, desk.ledger.state.version("A/R001/v2"), job) as seen:
            seen.look_at_rest(folder)
            gaps = [each for each in seen.report().findings if each.kind is Kind.GAP]
    assert [(each.grade, each.frames) for each in gaps] == [
        (Grade.BLOCKS, (FrameRange(first=FIRST + 8, last=FIRST + 8),)),
        (Grade.WARNS, (FrameRange(first=FIRST + 5, last=FIRST + 6),)),
    ]


def test_what_was_made_from_papers_has_no_gap_that_was_known(house: House, tmp_path: Path):
    (tmp_path / "papers").mkdir()
    (tmp_path / "papers" / "cuts.csv").write_text("frame,print\n")
    hand_in(house, tmp_path / "papers")
    with house.desk("tokyo") as desk:
        papers = desk.ledger.follow().version("A/R001/v1")
        assert known_gaps(desk, [papers], ScanMap.start_mark(1), ["a.0001.dpx", "a.0003.dpx"]) == frozenset()


def test_nothing_is_looked_at_where_the_stage_does_not_ask(tmp_path: Path):
    stages = [{"name": "scan"}, {"name": "grade", "after": ["scan"]}]
    house = House(tmp_path, film(stages, {COORDINATOR: [], "halifax": ["scan"], "tokyo": ["grade"]}))
    hand_in(house, frames(tmp_path / "scan", 3))
    with house.turn("tokyo") as turn:
        turn.run(Lane.RECEIVE)
        assert turn.run(Lane.INSPECT) == 0
    assert house.state().versions["A/R001/v1"].inspections == ()
    accept(house)
