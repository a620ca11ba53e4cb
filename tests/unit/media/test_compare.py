"""Two versions of a reel side by side, in the reel's own numbers."""

from hypothesis import given
from hypothesis import strategies as st

from relay.media.compare import Scanned, compare
from relay.media.manifest import Manifest, PackedFile
from relay.model import FrameRange, ScanMap, ScanSegment, digest_of


def version(frames: dict[int, str], scan: ScanMap | None = None, name: str = "A", **files: str) -> Scanned:
    packed = [PackedFile(f"frames/{name}.{n:07d}.dpx", 1, digest_of(held.encode())) for n, held in frames.items()]
    packed += [PackedFile(f"{path}.wav", 1, digest_of(held.encode())) for path, held in files.items()]
    return Scanned(Manifest.of(packed), scan or ScanMap.start_mark(0))


def ranges(*pairs: tuple[int, int]) -> tuple[FrameRange, ...]:
    return tuple(FrameRange(first=first, last=last) for first, last in pairs)


def test_added_changed_and_removed_frames_are_ranges():
    earlier = version({n: f"f{n}" for n in range(10)})
    later = version({n: f"f{n}" if n not in (4, 5) else "new" for n in range(2, 13)})
    changes = compare(earlier, later)
    assert changes.added == ranges((10, 12))
    assert changes.changed == ranges((4, 5))
    assert changes.removed == ranges((0, 1))
    assert (changes.files_added, changes.files_changed, changes.files_removed) == ((), (), ())


def test_a_rescan_with_other_numbers_and_names_is_compared_by_the_reel_s_frames():
    earlier = version({100 + n: f"f{n}" for n in range(5)}, ScanMap.start_mark(100), name="dry")
    later = version({86400 + n: f"f{n}" for n in range(5)}, ScanMap.start_mark(86400), name="wet")
    assert compare(earlier, later).is_nothing()
    shifted = Scanned(later.manifest, ScanMap.start_mark(86401))
    # One frame on: the old frame 0 stands at -1, so all five differ from what they were.
    assert compare(earlier, shifted).added == ranges((-1, -1))
    assert compare(earlier, shifted).removed == ranges((4, 4))
    assert compare(earlier, shifted).changed == ranges((0, 3))


def test_frames_that_a_scan_skipped_at_a_splice_are_removed_ones():
    splice = ScanMap(segments=(ScanSegment(scan=0, reel=0, count=3), ScanSegment(scan=3, reel=5)))
    earlier = version({n: f"f{n}" for n in range(8)})
    later = version({0: "f0", 1: "f1", 2: "f2", 3: "f5", 4: "f6", 5: "f7"}, splice)
    changes = compare(earlier, later)
    assert changes.removed == ranges((3, 4))
    assert not changes.added
    assert not changes.changed


def test_frames_of_which_the_map_says_nothing_are_listed_and_compared_as_files():
    short = ScanMap(segments=(ScanSegment(scan=0, reel=0, count=2),))
    changes = compare(version({0: "f0", 1: "f1"}), version({0: "f0", 1: "f1", 2: "f2"}, short))
    assert changes.unplaced == ("frames/A.0000002.dpx",)
    assert changes.files_added == ("frames/A.0000002.dpx",)
    assert not changes.added


def test_other_files_are_compared_by_their_paths():
    earlier = version({0: "f"}, mix="one", notes="same", gone="x")
    later = version({0: "f"}, mix="two", notes="same", new="y")
    changes = compare(earlier, later)
    assert (changes.files_added, changes.files_changed, changes.files_removed) == (
        ("new.wav",),
        ("mix.wav",),
        ("gone.wav",),
    )
    assert not changes.is_nothing()


def test_packages_without_pictures_are_compared_as_files():
    assert compare(version({}, mix="one"), version({}, mix="one")).is_nothing()
    assert compare(version({}, mix="one"), version({}, mix="two")).files_changed == ("mix.wav",)


contents = st.dictionaries(st.integers(0, 30), st.sampled_from("abc"), min_size=1)


@given(contents, contents)
def test_the_ranges_hold_exactly_the_frames_that_differ(old, new):
    changes = compare(version(old), version(new))

    def frames(found: tuple[FrameRange, ...]) -> set[int]:
        return {n for each in found for n in range(each.first, each.last + 1)}

    assert frames(changes.added) == new.keys() - old.keys()
    assert frames(changes.removed) == old.keys() - new.keys()
    assert frames(changes.changed) == {n for n in old.keys() & new.keys() if old[n] != new[n]}
    assert changes.is_nothing() == (old == new)


@given(contents, contents)
def test_going_back_undoes_every_change(old, new):
    there, back = compare(version(old), version(new)), compare(version(new), version(old))
    assert (there.added, there.changed, there.removed) == (back.removed, back.changed, back.added)
