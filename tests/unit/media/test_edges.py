"""Edge code read from headers alone, and the gaps that it shows: DPX by ST 268's offsets, OpenEXR by its `keycode`."""

from pathlib import Path

import numpy as np
import OpenImageIO as oiio  # noqa: N813  its own name
import pytest

from relay.errors import MissingError, RefusedError
from relay.film.edgecode import EdgeCode, edge_code_at
from relay.film.gauges import GAUGES
from relay.media.edges import Edge, EdgeReader, edge_of, jumps
from relay.media.gaps import lacking
from relay.model import ScanMap, ScanSegment
from tests.references.damage import titled, written

GAUGE = GAUGES["35mm"]
PICTURE = np.zeros((4, 6, 3), np.uint16)
ROLL = b"123456"
KEY_CODE = oiio.TypeDesc(oiio.INT, oiio.SCALAR, oiio.KEYCODE, 7)


def exr(place: Path, perforation: int) -> bytes:
    """Return an OpenEXR file whose key code OpenImageIO wrote."""
    code = edge_code_at(perforation, GAUGE)
    spec = oiio.ImageSpec(6, 4, 3, oiio.HALF)
    spec.attribute("smpte:KeyCode", KEY_CODE, (2, 1, 123456, code.count, code.offset, 4, 64))
    output = oiio.ImageOutput.create(str(place))
    assert output.open(str(place), spec)
    assert output.write_image(PICTURE)
    output.close()
    return place.read_bytes()


def dpx(place: Path, perforation: int | None) -> bytes:
    return titled(written(place, PICTURE), 0, 9, 18.0, perforation, ROLL)


def reel(folder: Path, kind: str, perforations: list[int]) -> dict[str, bytes]:
    drawn = exr if kind == "exr" else dpx
    bodies = {f"A.{1000 + at}.{kind}": drawn(folder / f"x.{kind}", place) for at, place in enumerate(perforations)}
    (folder / f"x.{kind}").unlink()
    return bodies


def test_a_header_s_edge_code_is_what_its_writer_put_there(tmp_path: Path):
    expected = Edge("02-01-123456", EdgeCode(12, 20))  # 12 counts of 64 perforations (ST 254), and 20
    assert edge_of("dpx", dpx(tmp_path / "a.dpx", 12 * 64 + 20)) == expected
    assert edge_of("exr", exr(tmp_path / "a.exr", 12 * 64 + 20)) == expected
    assert edge_of("dpx", dpx(tmp_path / "a.dpx", None)) is None
    assert edge_of("exr", b"\x76\x2f\x31\x01") is None
    assert edge_of("dpx", b"SDPX") is None


@pytest.mark.parametrize("kind", ["dpx", "exr"])
def test_gaps_become_gaps_of_the_map_whether_the_frames_were_shown_or_lie_there(tmp_path: Path, kind: str):
    bodies = reel(tmp_path, kind, [400, 404, 408, 448, 452, 456, 460 + 8])  # 9 frames lack, then 2
    for path, body in bodies.items():
        (tmp_path / path).write_bytes(body)
    start = ScanMap.start_mark(1001)
    shown, at_rest = (EdgeReader(bodies, GAUGE, 5000) for _ in range(2))
    for path, body in bodies.items():
        shown.look(path, memoryview(body))
    at_rest.read_rest(tmp_path)
    for reader in (shown, at_rest):
        found = reader.on_reel(start)
        assert [found.reel_frame(1000 + at) for at in range(7)] == [-1, 0, 1, 11, 12, 13, 16]
        assert lacking(found) == 11
        by_hand = ScanMap(segments=(ScanSegment(scan=1000, reel=5, count=7),))
        assert reader.on_reel(by_hand) is by_hand


def test_another_roll_a_part_of_a_frame_and_a_leap_are_no_gap():
    def steps(*edges: Edge) -> list[int]:
        return [each.lacking(5000) for each in jumps(enumerate(edges), GAUGE)]

    one, other = Edge("02-01-000001", EdgeCode(3, 0)), Edge("02-01-000002", EdgeCode(9, 0))
    assert steps(one, other) == []
    assert steps(one, Edge(one.roll, EdgeCode(3, 4))) == []  # 4 perforations a frame
    assert steps(one, Edge(one.roll, EdgeCode(3, 8))) == [1]
    assert steps(one, Edge(one.roll, EdgeCode(3, 6))) == [0]
    assert steps(one, Edge(one.roll, EdgeCode(2, 0))) == [0]
    assert steps(one, Edge(one.roll, EdgeCode(3 + 1250, 0))) == [0]  # 16 frames to a count: 20,000


def test_a_frame_that_vanished_or_is_a_link_is_named(tmp_path: Path):
    reader = EdgeReader(["A.0001.dpx", "A.0002.dpx"], GAUGE, 5000)
    with pytest.raises(MissingError, match=r"A\.0001\.dpx vanished while it was sent"):
        reader.read_rest(tmp_path)
    (tmp_path / "A.0001.dpx").symlink_to("/etc/hostname")
    with pytest.raises(RefusedError, match=r"A\.0001\.dpx cannot be read"):
        reader.read_rest(tmp_path)
