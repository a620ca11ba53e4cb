"""One HTTP/1.1 message as its exact bytes, so that what was signed passes unchanged. RFC 9112."""

from typing import BinaryIO, NamedTuple


class Message(NamedTuple):
    first: str
    """The request line or the status line."""
    headers: dict[str, str]
    """By lower-case name."""
    head: bytes
    """The exact bytes up to the body."""
    body: bytes
    """The exact bytes of the body, with the framing of its chunks."""

    @property
    def method(self) -> str:
        return self.first.split(" ")[0]

    @property
    def path(self) -> str:
        """The target without its query."""
        return self.first.split(" ")[1].partition("?")[0]


class Head(NamedTuple):
    first: str
    headers: dict[str, str]
    raw: bytes


def read_head(stream: BinaryIO) -> Head | None:
    """Return what stands before the body, or None where the other side ended."""
    lines = [stream.readline()]
    while lines[-1] not in {b"", b"\r\n"}:
        lines.append(stream.readline())
    if lines[-1] == b"":
        return None
    pairs = [line.decode("latin-1").partition(":") for line in lines[1:-1]]
    headers = {name.lower(): value.strip() for name, _, value in pairs}
    return Head(lines[0].decode("latin-1").strip(), headers, b"".join(lines))


def read_request(head: Head, stream: BinaryIO) -> Message:
    """Read the body that belongs to a request's `head`."""
    framed = "content-length" in head.headers or "transfer-encoding" in head.headers
    return Message(head.first, head.headers, head.raw, _body(head, stream) if framed else b"")


def read_answer(stream: BinaryIO, method: str) -> Message | None:
    """Return the final answer to a request of `method`; interim ones are passed over."""
    while head := read_head(stream):
        status = int(head.first.split(" ")[1])
        if status >= 200:
            bare = method == "HEAD" or status in {204, 304}
            return Message(head.first, head.headers, head.raw, b"" if bare else _body(head, stream))
    return None


def _body(head: Head, stream: BinaryIO) -> bytes:
    if head.headers.get("transfer-encoding", "").lower() == "chunked":
        return _chunks(stream)
    if "content-length" in head.headers:
        return stream.read(int(head.headers["content-length"]))
    return stream.read()


def _chunks(stream: BinaryIO) -> bytes:
    pieces = []
    while True:
        size = stream.readline()
        pieces.append(size)
        length = int(size.split(b";")[0] or b"0", 16)
        if length == 0:
            break
        pieces.append(stream.read(length + 2))
    while (line := stream.readline()) not in {b"", b"\r\n"}:
        pieces.append(line)
    return b"".join([*pieces, b"\r\n"])
