"""Names against Microsoft's "Naming Files, Paths, and Namespaces" and Python's own list of reserved Windows names."""

import ntpath
import sys
import unicodedata
from pathlib import PureWindowsPath

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from relay.media.names import PATH_LIMIT, check_part, check_paths, is_litter, is_ours

# Read off Microsoft's page: the devices, alone and with any extension, in any case.
DEVICES = ["CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in "123456789¹²³")]
# Not on that page, but in Python's ntpath since 3.13 ("CONIN$", "CONOUT$"); COM0 and LPT0: common practice.
MORE_DEVICES = ["CONIN$", "CONOUT$", "COM0", "LPT0"]

letters = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=12)


def refused(*paths: str) -> str:
    with pytest.raises(ValueError) as refusal:
        check_paths(paths)
    return str(refusal.value)


@pytest.mark.parametrize("name", DEVICES + MORE_DEVICES)
@pytest.mark.parametrize("form", ["{}", "{}.dpx", "{}.tar.gz", "{} .txt", "frames/{}", "{}/a.dpx"])
def test_the_name_of_a_windows_device_is_refused_in_any_case(name, form):
    assert "device" in refused(form.format(name))
    assert "device" in refused(form.format(name.lower()))


@pytest.mark.parametrize("name", ["CONE.dpx", "AUXILIARY", "COM10", "LPT.txt", "xCON", "NULL", "con-tract.txt", "PRNT"])
def test_a_name_that_only_looks_like_a_device_is_accepted(name):
    check_paths([name])


@pytest.mark.parametrize("letter", [*'<>:"|?*\\', *map(chr, range(32)), "\x7f", "\x85", "\x9f"])
def test_a_character_that_windows_forbids_or_that_controls_is_refused(letter):
    assert "cannot stand in a name" in refused(f"frames/a{letter}b.dpx")


@pytest.mark.parametrize(
    "path",
    ["/etc/passwd", "//server/share/a", "../a", "a/../b", "a/..", "./a", "a/./b", "a//b", "a/", "", ".", "..", "/"],
)
def test_a_path_that_leads_elsewhere_is_refused_and_named(path):
    refusal = refused(path)
    assert repr(path) in refusal
    assert "absolute" in refusal if path.startswith("/") else "leads elsewhere" in refusal


@pytest.mark.parametrize("name", ["a.", "a ", " a", "a.dpx.", "\u00a0a", "a\u3000", "...", "a/b./c", "a /b"])
def test_a_name_that_ends_with_what_windows_drops_or_begins_with_a_space_is_refused(name):
    assert repr(name) in refused(name)


@pytest.mark.parametrize("letter", ["\u202e", "\u2066", "\u200f", "\ufeff", "\u200b", "\u2028", "\u2029"])
def test_a_letter_that_turns_or_hides_text_is_refused_by_its_number(letter):
    assert f"U+{ord(letter):04X}" in refused(f"a{letter}xpd.dpx")


def test_a_name_that_is_not_utf8_is_refused():
    assert "not UTF-8" in refused(b"frames/caf\xe9.dpx".decode(errors="surrogateescape"))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("frames/a.dpx", "frames/A.dpx"),
        ("frames/a.dpx", "Frames/b.dpx"),
        ("frames/a.dpx", "FRAMES"),
        ("straße.txt", "STRASSE.txt"),
        ("caf\u00e9.txt", "cafe\u0301.txt"),
        ("\u212b.txt", "\u00e5.txt"),
        ("\u1e9b\u0323.txt", "\u1e69.txt"),
        ("ΣΊΣΥΦΟΣ.txt", "σίσυφος.txt"),
        ("a\u200db.txt", "ab.txt"),
        ("ﬁlm.txt", "FILM.txt"),
        ("k\N{LATIN SMALL LETTER DOTLESS I}sa.txt", "KISA.txt"),
    ],
)
def test_two_paths_that_some_system_takes_for_one_are_refused_together_but_not_alone(one, other):
    check_paths([one])
    check_paths([other])
    for pair in ((one, other), (other, one)):
        refusal = refused(*pair)
        assert "cannot tell" in refusal
        assert repr(pair[0].split("/")[0])[1:-1] in refusal


@pytest.mark.parametrize("paths", [("frames", "frames/a.dpx"), ("a/b/c", "a/b"), ("a/b", "a/b/c/d")])
def test_a_file_that_is_also_a_folder_is_refused(paths):
    assert "is a file and also a folder" in refused(*paths)
    assert "is a file and also a folder" in refused(*reversed(paths))


def test_a_path_that_stands_twice_is_refused():
    assert "stands twice" in refused("a/b.dpx", "a/c.dpx", "a/b.dpx")


@pytest.mark.parametrize("name", [".relay-incoming-R03", ".Relay-x", ".RELAY-"])
def test_names_of_our_own_hidden_files_are_refused(name):
    assert is_ours(name)
    assert "keeps for itself" in refused(f"frames/{name}/a.dpx")
    assert not is_ours("relay-notes.txt")


@pytest.mark.parametrize("name", [".DS_Store", "Thumbs.db", "thumbs.DB", "desktop.ini", "._a.dpx"])
def test_what_file_browsers_drop_by_themselves_is_refused(name):
    assert is_litter(name)
    assert "file browsers" in refused(f"frames/{name}")
    assert not is_litter("Thumbs.dbx")


def test_lengths_are_counted_in_bytes_and_the_limit_itself_is_accepted():
    check_part("é" * 127 + "a")  # 255 bytes
    assert "256 bytes" in refused("é" * 128)
    check_part("a" * 255)
    assert "256 bytes" in refused("a" * 256)
    folder = "/".join(["f" * 15] * 63)  # 1007 bytes
    check_paths([f"{folder}/{'a' * 16}"])
    assert "1025 bytes" in refused(f"{folder}/{'a' * 17}")
    assert f"the most is {PATH_LIMIT}" in refused("a/" * 1_000_000 + "a")


@pytest.mark.parametrize(
    "path",
    [
        "frames/A_R01.0086400.dpx",
        "son/Référence été.wav",
        "音声/第一巻.wav",
        ".hidden",
        "a b.c",
        "(1)#~'!.txt",
        "कहानी\u200d.txt",
    ],
)
def test_everyday_names_in_any_script_are_accepted(path):
    check_paths([path])


@given(letters)
def test_whatever_is_accepted_is_no_reserved_name_for_python_s_windows_paths(name):
    try:
        check_part(name)
    except ValueError:
        return
    path = PureWindowsPath("C:/reel") / name
    assert path.parts == ("C:\\", "reel", name)
    assert not (ntpath.isreserved(name) if sys.version_info >= (3, 13) else PureWindowsPath(name).is_reserved())
    assert name.encode().decode() == name


@given(letters, st.sampled_from(["NFC", "NFD"]), st.sampled_from([str.lower, str.upper, str.casefold, str.title]))
def test_another_case_or_another_form_of_a_name_is_always_its_twin(name, form, case):
    twin = unicodedata.normalize(form, case(name))
    assume(twin != name)
    with pytest.raises(ValueError):
        check_paths([name, twin])
