"""What a package is made of: files, their sizes and their SHA-256. Values only; reads nothing.

Stored, a manifest is text that `sha256sum -c` accepts as it is; what it adds stands in comment lines:

    # relay manifest 1
    # size 12748800
    <64 figures>  frames/A_R01.0086400.dpx
    # chunk <64 figures> 16777216
    # size 2147483648
    <64 figures>  sound/mix.wav

The grammar leaves one way to write a manifest, so equal packages have equal manifests. See docs/FORMAT.md.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, Self

from relay.media.names import Names
from relay.model import Digest, digest_of

WHOLE_LIMIT = 128 * 1024 * 1024  # bytes; a file up to this size is one object, a larger one is chunks
CHUNK_SIZE = 16 * 1024 * 1024  # bytes; the last chunk of a file may be smaller
BODY_LIMIT = 128 * 1024 * 1024  # bytes of a stored manifest
FILE_LIMIT = 1_000_000  # files

_HEAD = "# relay manifest 1"
_HEAD_OF_ANY = re.compile(r"# relay manifest [0-9]+")
_CHUNK = re.compile(r"# chunk ([0-9a-f]{64}) ([1-9][0-9]{0,18})\n")
_SIZE = re.compile(r"# size (0|[1-9][0-9]{0,18})\n")
_NAME = re.compile(r"([0-9a-f]{64})  ([^\n]+)\n")
_FILE = re.compile(f"((?:{_CHUNK.pattern})*){_SIZE.pattern}{_NAME.pattern}")


class Chunk(NamedTuple):
    """A piece of a file, or a whole one, as one object in the store."""

    digest: Digest
    size: int  # bytes


class PackedFile(NamedTuple):
    """One file of a package. `chunks` is empty for a file that is one object."""

    path: str
    size: int  # bytes
    digest: Digest
    chunks: tuple[Chunk, ...] = ()

    def objects(self) -> tuple[Chunk, ...]:
        """Return what this file is in the store, in the order of its bytes."""
        return self.chunks or (Chunk(self.digest, self.size),)


def chunk_sizes(size: int) -> tuple[int, ...]:
    """Return the sizes of the chunks that a file of `size` bytes is stored as; none if it is one object."""
    if size <= WHOLE_LIMIT:
        return ()
    whole, rest = divmod(size, CHUNK_SIZE)
    return (CHUNK_SIZE,) * whole + ((rest,) if rest else ())


class ManifestError(ValueError):
    """A manifest that cannot be; `place` counts its files from 0."""

    def __init__(self, fault: str, place: int = 0) -> None:
        super().__init__(fault)
        self.place = place


@dataclass(frozen=True)
class Manifest:
    """The files of a package, in the order of their paths' bytes. Raises ValueError for what cannot be one."""

    files: tuple[PackedFile, ...]

    def __post_init__(self) -> None:
        if not 1 <= len(self.files) <= FILE_LIMIT:
            raise ManifestError(f"{len(self.files)} files: a package has 1 to {FILE_LIMIT}")
        names, before = Names(), ""
        for place, file in enumerate(self.files):
            try:
                names.add(file.path)
                _check_file(file, before)
            except ValueError as fault:
                raise ManifestError(str(fault), place) from None
            before = file.path

    @classmethod
    def of(cls, files: Iterable[PackedFile]) -> Self:
        """Return the manifest of `files`, whatever their order."""
        return cls(tuple(sorted(files)))

    def encode(self) -> bytes:
        """Return the stored bytes. Raises ValueError when they would be too many."""
        body = self._body
        if len(body) > BODY_LIMIT:
            raise ValueError(f"the manifest is {len(body)} bytes long, the most is {BODY_LIMIT}: send two packages")
        return body

    def digest(self) -> Digest:
        """Return the SHA-256 of the stored bytes: the manifest's own name in the store."""
        return self._digest

    def size(self) -> int:
        """Return how many bytes all the files hold together."""
        return sum(file.size for file in self.files)

    def objects(self) -> dict[Digest, int]:
        """Return each object once, with its size in bytes, in the order of first use."""
        return {chunk.digest: chunk.size for file in self.files for chunk in file.objects()}

    @cached_property
    def by_path(self) -> dict[str, PackedFile]:
        """The files by their paths."""
        return {file.path: file for file in self.files}

    @cached_property
    def _body(self) -> bytes:
        return "".join(_lines(self.files)).encode()

    @cached_property
    def _digest(self) -> Digest:
        return digest_of(self.encode())


def _check_file(file: PackedFile, before: str) -> None:
    if file.path <= before:
        raise ValueError(f"{file.path!r} stands after {before!r}: paths stand in the order of their bytes")
    if not file.chunks and file.size <= WHOLE_LIMIT:
        return
    found, expected = tuple(chunk.size for chunk in file.chunks), chunk_sizes(file.size)
    if found != expected:
        raise ValueError(
            f"{file.path!r} of {file.size} bytes has {len(found)} chunks: expected {len(expected)}, "
            f"each of {CHUNK_SIZE} bytes but the last"
        )


def _lines(files: tuple[PackedFile, ...]) -> Iterator[str]:
    yield f"{_HEAD}\n"
    for path, size, digest, chunks in files:
        for chunk in chunks:
            yield f"# chunk {chunk.digest} {chunk.size}\n"
        yield f"# size {size}\n{digest}  {path}\n"


def parse_manifest(body: bytes) -> Manifest:
    """Return the manifest that `body` is the stored form of. Raises ValueError that names the line."""
    if len(body) > BODY_LIMIT:
        raise ValueError(f"the manifest is {len(body)} bytes long, the most is {BODY_LIMIT}")
    files = tuple(_parsed(_text_of(body)))
    try:
        manifest = Manifest(files)
    except ManifestError as fault:
        line = 1 + sum(len(file.chunks) + 2 for file in files[: fault.place + 1])
        raise ValueError(f"manifest line {line}: {fault}") from None
    return manifest


def _text_of(body: bytes) -> str:
    try:
        text = body.decode()
    except UnicodeDecodeError as fault:
        raise ValueError(f"manifest line {body.count(10, 0, fault.start) + 1}: it is not UTF-8") from None
    head = text[:100].partition("\n")[0]
    if head != _HEAD:
        newer = "; upgrade to read it" if _HEAD_OF_ANY.fullmatch(head) else ""
        raise ValueError(f"manifest line 1: found {head!r}, expected {_HEAD!r}{newer}")
    return text


def _parsed(text: str) -> Iterator[PackedFile]:
    at = len(_HEAD) + 1
    for _ in range(FILE_LIMIT + 1):
        found = _FILE.match(text, at)
        if found is None:
            break
        at = found.end()
        chunks, _, _, size, digest, path = found.groups()
        yield PackedFile(path, int(size), Digest(digest), _chunks_in(chunks) if chunks else ())
    if at < len(text):
        raise ValueError(_fault_at(text, at))


def _chunks_in(lines: str) -> tuple[Chunk, ...]:
    return tuple(Chunk(Digest(digest), int(size)) for digest, size in _CHUNK.findall(lines))


def _fault_at(text: str, at: int) -> str:
    """Say what is wrong with the lines from `at` on, which are not a whole file's."""
    while chunk := _CHUNK.match(text, at):
        at = chunk.end()
    expected = "'# size SIZE', after any '# chunk DIGEST SIZE'"
    if size := _SIZE.match(text, at):
        at, expected = size.end(), "a digest, two spaces and a path"
    found = text[at : at + 200].partition("\n")[0]
    return f"manifest line {text.count(chr(10), 0, at) + 1}: found {found!r}, expected {expected}"
