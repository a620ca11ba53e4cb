"""The stored form of a manifest, read by coreutils' `sha256sum` and by our own parser."""

import hashlib
import shutil
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.media.manifest import (
    BODY_LIMIT,
    CHUNK_SIZE,
    FILE_LIMIT,
    WHOLE_LIMIT,
    Chunk,
    Manifest,
    PackedFile,
    chunk_sizes,
    parse_manifest,
)
from relay.model import digest_of
from relay.store.port import OBJECT_LIMIT
from tests.conftest import missing

ABC = digest_of(b"abc")

# FIPS 180-4, example "abc".
assert ABC == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

HEAD = "# relay manifest 1\n"
PLAIN = f"# size 3\n{ABC}  a.txt\n"

paths = st.lists(
    st.lists(st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_é-]{3,8}x", fullmatch=True), min_size=1, max_size=3),
    min_size=1,
    max_size=8,
    unique_by=lambda parts: parts[0].casefold(),
).map(lambda lists: ["/".join(parts) for parts in lists])
digests = st.binary(min_size=32, max_size=32).map(bytes.hex)


@st.composite
def manifests(draw):
    files = []
    for path in draw(paths):
        size = draw(st.one_of(st.integers(0, WHOLE_LIMIT), st.integers(WHOLE_LIMIT + 1, WHOLE_LIMIT * 2)))
        chunks = tuple(Chunk(digest_of(f"{path} {n}".encode()), length) for n, length in enumerate(chunk_sizes(size)))
        files.append(PackedFile(path, size, draw(digests), chunks))
    return Manifest.of(files)


def refusal(text: str | bytes) -> str:
    with pytest.raises(ValueError) as refused:
        parse_manifest(text.encode() if isinstance(text, str) else text)
    return str(refused.value)


def parsed_or_refused(body: bytes) -> tuple[Manifest | None, str]:
    try:
        return parse_manifest(body), ""
    except ValueError as refused:
        return None, str(refused)


def chunked(size: int, lengths: list[int]) -> str:
    return "".join(f"# chunk {ABC} {length}\n" for length in lengths) + f"# size {size}\n{ABC}  mix.wav\n"


def test_a_manifest_is_what_sha256sum_checks(tmp_path):
    if shutil.which("sha256sum") is None:
        missing("no `sha256sum` found: it is part of coreutils")
    contents = {"frames/A_R01.0000001.dpx": b"abc", "son/été 1.wav": b"", "notes": b"x" * 1000}
    files = []
    for path, body in contents.items():
        (tmp_path / path).parent.mkdir(exist_ok=True)
        (tmp_path / path).write_bytes(body)
        files.append(PackedFile(path, len(body), digest_of(body)))
    large = (tmp_path / "large.wav").open("wb")
    with large:
        large.truncate(WHOLE_LIMIT + 1)
    whole = hashlib.sha256(bytes(WHOLE_LIMIT + 1)).hexdigest()
    zeros, last = digest_of(bytes(CHUNK_SIZE)), digest_of(b"\0")
    chunks = (*[Chunk(zeros, CHUNK_SIZE)] * 8, Chunk(last, 1))
    files.append(PackedFile("large.wav", WHOLE_LIMIT + 1, whole, chunks))
    body = Manifest.of(files).encode()

    def checked() -> subprocess.CompletedProcess:
        command = ["sha256sum", "--check", "--strict"]
        return subprocess.run(command, input=body, cwd=tmp_path, capture_output=True, check=False)

    assert checked().returncode == 0
    assert checked().stdout.count(b": OK") == 4
    (tmp_path / "notes").write_bytes(b"x" * 999 + b"y")
    assert b"notes: FAILED" in checked().stdout


@given(manifests())
def test_what_was_encoded_is_parsed_to_the_same_manifest(manifest):
    assert parse_manifest(manifest.encode()) == manifest
    assert manifest.digest() == hashlib.sha256(manifest.encode()).hexdigest()


@given(manifests(), st.data())
def test_bytes_that_were_tampered_with_are_refused_or_are_another_manifest(manifest, data):
    body = bytearray(manifest.encode())
    place = data.draw(st.integers(0, len(body) - 1))
    match data.draw(st.sampled_from(["flip", "drop", "insert", "cut", "double"])):
        case "flip":
            body[place] ^= 1 << data.draw(st.integers(0, 7))
        case "drop":
            del body[place]
        case "insert":
            body.insert(place, data.draw(st.integers(0, 255)))
        case "cut":
            del body[place:]
        case "double":
            body[place:place] = body[max(0, place - 80) : place] or b"\n"
    parsed, refused = parsed_or_refused(bytes(body))
    if parsed is None:
        assert "manifest line" in refused
    else:
        assert parsed.encode() == body
        assert parsed != manifest


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "line 1: found ''"),
        (HEAD[:-1], "line 1: 0 files"),
        (HEAD, "line 1: 0 files"),
        (PLAIN, "line 1: found '# size 3'"),
        ("# relay manifest 2\n" + PLAIN, "upgrade"),
        ("# another list 1\n" + PLAIN, "line 1"),
        (HEAD + PLAIN[:-1], "line 3"),
        (HEAD + PLAIN + "# size 3\n", "line 5"),
        (HEAD + PLAIN + "\n", "line 4"),
        (HEAD + PLAIN.replace("  ", " *"), "line 3"),
        (HEAD + PLAIN.replace("  ", " "), "line 3"),
        (HEAD + PLAIN.replace("size 3", "size 03"), "line 2"),
        (HEAD + PLAIN.replace("size 3", "size -3"), "line 2"),
        (HEAD + PLAIN.replace("size 3", "size ٣"), "line 2"),
        (HEAD + PLAIN.replace("size 3", "size 99999999999999999999"), "line 2"),
        (HEAD + PLAIN.replace("\n", "\r\n"), "line 2"),
        (HEAD + PLAIN.replace(ABC, ABC.upper()), "line 3"),
        (HEAD + PLAIN.replace(ABC, ABC[:-1]), "line 3"),
        (HEAD + PLAIN + "# a remark\n" + PLAIN, "line 4"),
        (HEAD + PLAIN + PLAIN, "line 5: the path 'a.txt'"),
        (HEAD + PLAIN.replace("a.txt", "b.txt") + PLAIN, "line 5: 'a.txt' stands after 'b.txt'"),
        (HEAD + PLAIN.replace("a.txt", "A.txt") + PLAIN, "line 5: the path 'a.txt'"),
        (HEAD + PLAIN.replace("a.txt", "../a.txt"), "line 3: the path '../a.txt'"),
        (HEAD + PLAIN.replace("a.txt", "nul.txt"), "line 3: the path 'nul.txt'"),
        (HEAD + f"# chunk {ABC} 0\n" + PLAIN, "line 2"),
        (HEAD + f"# chunk {ABC} 3\n" + PLAIN, "line 4: 'a.txt' of 3 bytes has 1 chunks: expected 0"),
        (HEAD + PLAIN + f"# chunk {ABC} 3\n", "line 5"),
        (HEAD + chunked(WHOLE_LIMIT + 1, []), "expected 9"),
        (HEAD + chunked(WHOLE_LIMIT + 1, [CHUNK_SIZE] * 8 + [2]), "expected 9"),
        (HEAD + chunked(WHOLE_LIMIT + 1, [1] + [CHUNK_SIZE] * 8), "expected 9"),
        (HEAD + chunked(WHOLE_LIMIT + 1, [CHUNK_SIZE + 1, CHUNK_SIZE - 1] + [CHUNK_SIZE] * 6 + [1]), "expected 9"),
    ],
)
def test_a_manifest_that_is_not_written_the_one_way_is_refused_by_its_line(text, words):
    assert words in refusal(text)


def test_a_manifest_that_is_not_utf8_is_refused_by_its_line():
    assert "line 3: it is not UTF-8" in refusal((HEAD + PLAIN).encode().replace(b"a.txt", b"\xff.txt"))


def test_the_forms_that_the_refusals_above_are_near_to_are_accepted():
    parse_manifest((HEAD + PLAIN).encode())
    parse_manifest((HEAD + chunked(WHOLE_LIMIT + 1, [CHUNK_SIZE] * 8 + [1])).encode())


def test_a_body_over_the_limit_is_refused_before_it_is_looked_at():
    assert str(BODY_LIMIT) in refusal(bytes(BODY_LIMIT + 1))


@pytest.mark.soak
def test_more_files_than_the_limit_are_refused():
    text = HEAD + "".join(f"# size 0\n{ABC}  {number:07d}\n" for number in range(FILE_LIMIT + 1))
    assert str(FILE_LIMIT) in refusal(text)


def test_files_stand_in_the_order_of_their_bytes_not_of_their_utf16():
    # U+FFxx comes before U+1xxxx in UTF-8 but after it in UTF-16.
    files = [PackedFile(path, 0, ABC) for path in ("\U0001f39e.txt", "\uff61.txt", "b.txt", "B2.txt")]
    found = [file.path for file in Manifest.of(files).files]
    assert found == sorted(found, key=str.encode)
    assert found == ["B2.txt", "b.txt", "\uff61.txt", "\U0001f39e.txt"]


def test_a_manifest_made_here_is_checked_like_one_from_a_stranger():
    with pytest.raises(ValueError, match="device"):
        Manifest.of([PackedFile("aux.dpx", 0, ABC)])
    with pytest.raises(ValueError, match="stands after"):
        Manifest((PackedFile("b", 0, ABC), PackedFile("a", 0, ABC)))
    with pytest.raises(ValueError, match="0 files"):
        Manifest(())


def test_objects_are_named_once_whatever_files_they_are_in():
    zeros = digest_of(bytes(CHUNK_SIZE))
    large = PackedFile("l.wav", WHOLE_LIMIT + 3, digest_of(b"l"), (*[Chunk(zeros, CHUNK_SIZE)] * 8, Chunk(ABC, 3)))
    manifest = Manifest.of([large, PackedFile("a", 3, ABC), PackedFile("b", 3, ABC)])
    assert manifest.objects() == {ABC: 3, zeros: CHUNK_SIZE}
    assert manifest.size() == WHOLE_LIMIT + 9


def test_an_object_never_exceeds_what_a_store_takes():
    assert WHOLE_LIMIT == OBJECT_LIMIT
    assert chunk_sizes(WHOLE_LIMIT) == ()
    assert chunk_sizes(2 * WHOLE_LIMIT) == (CHUNK_SIZE,) * 16
    assert sum(chunk_sizes(2**31 + 7)) == 2**31 + 7
