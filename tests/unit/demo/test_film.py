import numpy as np
import OpenImageIO
import pytest
from hypothesis import given
from hypothesis import strategies as st

from deploy.demo.film import write_edit, write_rescan, write_scan
from deploy.demo.reels import PRINTS, decay_at, frames_lost, frames_spoiled, shots

SIZE = (128, 97)
FRAMES = 40
REELS = st.integers(1, 12)
LENGTHS = st.integers(24, 20_000)


def codes_of(path):
    picture = OpenImageIO.ImageInput.open(str(path))
    return (picture.read_image("uint16") >> 6).astype(int)


def coarse(codes):
    """Means of 16 rows by 16 columns: the scene without its grain."""
    return codes[:96].reshape(6, 16, 8, 16, 3).mean((1, 3))


def numbers_in(folder):
    return sorted(int(path.name.split(".")[1]) for path in folder.iterdir())


def file_of(folder, number):
    (path,) = folder.glob(f"*.{number:07d}.dpx")
    return path


@pytest.fixture(scope="module")
def scans(tmp_path_factory):
    folder = tmp_path_factory.mktemp("scans")
    for name in PRINTS:
        write_scan(folder / name, name, 1, FRAMES, size=SIZE)
    return folder


def test_a_scan_has_a_file_for_each_frame_but_the_lost_ones(tmp_path):
    lost = write_scan(tmp_path / "scan", "A", 2, 30, size=SIZE, start=500)
    assert lost
    assert numbers_in(tmp_path / "scan") == [500 + frame for frame in range(30) if frame not in lost]


@given(reel=REELS, frames=LENGTHS)
def test_every_print_lacks_frames_but_none_is_lost_from_all(reel, frames):
    lost = [set(frames_lost(name, reel, frames)) for name in PRINTS]
    assert all(lost)
    assert not set.intersection(*lost)
    assert set.union(*lost) <= set(range(1, frames))


@given(reel=REELS, frames=LENGTHS)
def test_the_shots_fill_the_reel_without_gap_or_overlap(reel, frames):
    cut = shots(reel, frames)
    assert [shot.first for shot in cut[1:]] == [shot.first + shot.length for shot in cut[:-1]]
    assert cut[0].first == 0
    assert cut[-1].first + cut[-1].length == frames
    assert all(shot.length >= 1 for shot in cut)


def test_a_reel_too_short_for_its_shots_is_refused(tmp_path):
    with pytest.raises(ValueError, match="expected at least 24"):
        write_scan(tmp_path, "A", 1, 23, size=SIZE)


@pytest.mark.parametrize("reel", [1, 2])
def test_the_picture_changes_at_each_cut_and_moves_little_between(tmp_path, reel):
    write_scan(tmp_path, "B", reel, 80, size=SIZE)
    small = {number - 86400: coarse(codes_of(file_of(tmp_path, number))) for number in numbers_in(tmp_path)}
    jumps = {n: np.abs(small[n] - small[n - 1]).mean() for n in small if n - 1 in small}
    cuts = {shot.first for shot in shots(reel, 80)[1:]} & set(jumps)
    assert len(cuts) >= 6
    # Lightning is a flash inside a shot, as bright as a cut: compare with the median, not the worst.
    within = np.median([jump for n, jump in jumps.items() if n not in cuts])
    assert min(jumps[n] for n in cuts) > 3 * within


def test_the_same_call_writes_the_same_bytes(scans, tmp_path):
    write_scan(tmp_path, "C", 1, FRAMES, size=SIZE)
    for path in tmp_path.iterdir():
        assert path.read_bytes() == (scans / "C" / path.name).read_bytes()


def test_no_two_frames_of_any_scan_are_the_same_file(scans):
    bodies = [path.read_bytes()[2048:] for path in scans.rglob("*.dpx")]
    assert len(set(bodies)) == len(bodies)


def test_the_header_counts_as_the_file_names_do(scans):
    for path in scans.rglob("*.dpx"):
        spec = OpenImageIO.ImageInput.open(str(path)).spec()
        assert spec.getattribute("dpx:FramePosition") == int(path.name.split(".")[1]) - 86400
        assert spec.getattribute("dpx:SequenceLength") == FRAMES
        assert (spec.width, spec.height) == SIZE


def test_only_the_tinted_print_has_colour(scans):
    def spread(name):
        codes = codes_of(file_of(scans / name, 86400 + 10))
        return np.ptp(codes.mean((0, 1)))

    assert spread("A") > 20
    assert spread("B") == spread("C") == 0


def test_an_edit_changes_the_spoiled_frames_and_no_other_byte(scans, tmp_path):
    mended = write_edit(tmp_path / "edit", scans / "A", "A", 1, FRAMES, size=SIZE)
    assert mended == frames_spoiled("A", 1, FRAMES)
    assert numbers_in(tmp_path / "edit") == numbers_in(scans / "A")
    for path in (tmp_path / "edit").iterdir():
        same = path.read_bytes() == (scans / "A" / path.name).read_bytes()
        assert same == (int(path.name.split(".")[1]) - 86400 not in mended)


def test_a_rescan_lies_nearer_to_the_mended_picture_and_has_one_frame_more(scans, tmp_path):
    better = write_rescan(tmp_path / "again", "A", 1, FRAMES, size=SIZE, start=9000)
    write_edit(tmp_path / "edit", scans / "A", "A", 1, FRAMES, size=SIZE)
    gained = {n - 9000 for n in numbers_in(tmp_path / "again")} - {n - 86400 for n in numbers_in(scans / "A")}
    assert len(gained) == 1
    assert gained < set(better)
    for frame in set(better) - gained:
        mended = codes_of(file_of(tmp_path / "edit", 86400 + frame))
        before = np.abs(codes_of(file_of(scans / "A", 86400 + frame)) - mended).mean()
        after = np.abs(codes_of(file_of(tmp_path / "again", 9000 + frame)) - mended).mean()
        assert after < before, frame


def test_only_the_nitrate_print_decays():
    eaten = {name: max(decay_at(name, 1, 80, frame) for frame in range(80)) for name in PRINTS}
    assert eaten["A"] > 0.9
    assert eaten["B"] == eaten["C"] == 0
