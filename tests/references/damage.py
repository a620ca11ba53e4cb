"""Clean frames of the photographic clip, and every kind of damage, each with what an inspection must say of it.

Frames are written by OpenImageIO; film fields of their headers are put in at the offsets of SMPTE ST 268. A case is
made from its seed alone.
"""

import random
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import OpenImageIO as oiio  # noqa: N813  its own name
import soundfile

from relay.film.edgecode import edge_code_at
from relay.film.gauges import GAUGES
from relay.media.asked import Asked
from relay.media.findings import Kind
from relay.model import FrameRange, Picture, ranges_of
from tests.references.pictures import pictures

WIDTH, HEIGHT = 160, 68
FIRST = 86400
RATE = Fraction(18)
SAMPLES = 8000  # a second; a sound's rate changes nothing in what is measured
POOL = 240


def written(
    path: Path, picture: Any, bits: int = 10, endian: str = "little", packing: str = "Filled, method A"
) -> bytes:
    """Return the bytes of a DPX file that OpenImageIO writes."""
    height, width, channels = picture.shape
    spec = oiio.ImageSpec(width, height, channels, oiio.UINT8 if bits == 8 else oiio.UINT16)
    spec.attribute("oiio:BitsPerSample", bits)
    spec.attribute("oiio:Endian", endian)
    spec.attribute("dpx:Packing", packing)
    spec.attribute("dpx:Transfer", "Printing density")
    output = oiio.ImageOutput.create(str(path))
    assert output.open(str(path), spec), output.geterror()
    assert output.write_image(np.ascontiguousarray(picture)), output.geterror()
    output.close()
    return path.read_bytes()


def titled(body: bytes, position: int, length: int, rate: float, perforation: int | None, roll: bytes) -> bytes:
    """Return a DPX file with the film fields of its header filled in: ST 268 offsets 1664 to 1727."""
    order = ">" if body[:4] == b"SDPX" else "<"
    head = bytearray(body)
    if perforation is None:
        head[1664:1680] = bytes(16)
    else:
        code = edge_code_at(perforation, GAUGES["35mm"])
        head[1664:1680] = b"0201" + f"{code.offset:02d}".encode() + roll + f"{code.count:04d}".encode()
    struct.pack_into(f"{order}IIIf", head, 1712, position, length, 1, rate)
    return bytes(head)


class Pool:
    """Clean pictures of the clip, and their bytes as DPX."""

    def __init__(self, movie: Path, scratch: Path) -> None:
        self.scratch = scratch / "frame.dpx"
        self.pictures = [picture for picture, _ in zip(pictures(movie, WIDTH, HEIGHT), range(POOL), strict=False)]
        self.bodies = [written(self.scratch, picture) for picture in self.pictures]


@dataclass
class Case:
    """A package on disk, and what must be found in it."""

    folder: Path
    asked: Asked
    kind: Kind | None = None
    frames: tuple[FrameRange, ...] = ()
    also: set[Kind] = field(default_factory=set)
    """What follows from the damage and may be said, too."""

    def paths(self) -> list[str]:
        return [path.relative_to(self.folder).as_posix() for path in self.folder.rglob("*") if path.is_file()]


class Reel:
    """A clean reel in memory, to be damaged and then written."""

    def __init__(self, pool: Pool, seed: int) -> None:
        self.dice = random.Random(seed)
        self.pool = pool
        self.count = self.dice.randint(20, 30)
        self.start = self.dice.randrange(POOL - self.count)
        self.length = self.count
        self.roll = f"{self.dice.randrange(1_000_000):06d}".encode()
        self.mark = self.dice.randrange(100_000)
        self.files = {FIRST + at: self.frame(at) for at in range(self.count)}
        self.asked = Asked(frames=self.count, gauge=GAUGES["35mm"], rate=RATE)
        self.extra: dict[str, bytes] = {}
        self.sound: Any = None
        self.also: set[Kind] = set()

    def frame(self, at: int, body: bytes | None = None, **more: Any) -> bytes:
        told = {"position": at, "length": self.length, "rate": float(RATE), "perforation": self.mark + 4 * at}
        return titled(
            self.pool.bodies[self.start + at] if body is None else body, **{**told, "roll": self.roll, **more}
        )

    def some(self, most: int = 4, margin: int = 1) -> range:
        """Return a short range of places, `margin` frames away from both ends."""
        count = self.dice.randint(1, most)
        first = self.dice.randint(margin, self.count - count - margin)
        return range(first, first + count)

    def redraw(self, places: range, picture: Callable[[int], Any], **how: Any) -> tuple[FrameRange, ...]:
        for at in places:
            self.files[FIRST + at] = self.frame(at, written(self.pool.scratch, picture(at), **how))
        return numbers(places)

    def original(self, at: int) -> Any:
        return self.pool.pictures[self.start + at]

    def write(self, folder: Path) -> None:
        (folder / "frames").mkdir(parents=True)
        for number, body in self.files.items():
            (folder / "frames" / f"A_R01.{number:07d}.dpx").write_bytes(body)
        for name, body in self.extra.items():
            (folder / name).write_bytes(body)
        if self.sound is not None:
            soundfile.write(folder / "mix.wav", self.sound, SAMPLES, subtype="PCM_16")


def numbers(places: range) -> tuple[FrameRange, ...]:
    return ranges_of({FIRST + at for at in places})


def clean(pool: Pool, seed: int, folder: Path) -> Case:
    reel = Reel(pool, seed)
    reel.write(folder)
    return Case(folder, reel.asked)


def damaged(pool: Pool, seed: int, kind: Kind, folder: Path) -> Case:
    """Return a reel that has exactly that kind of damage, at a place that the seed says."""
    reel = Reel(pool, seed)
    frames = DAMAGES[kind](reel)
    reel.write(folder)
    return Case(folder, reel.asked, kind, frames, reel.also)


Where = tuple[FrameRange, ...]


def _gap(reel: Reel) -> Where:
    places = reel.some()
    for at in places:
        del reel.files[FIRST + at]
    return numbers(places)


def _double(reel: Reel) -> Where:
    (at, *_) = reel.some(1)
    reel.extra[f"frames/A_R01.{FIRST + at:08d}.dpx"] = reel.files[FIRST + at]
    return numbers(range(at, at + 1))


def _mixed(reel: Reel) -> Where:
    places = reel.some()
    for at in places:
        reel.extra[f"frames/B_R07.{FIRST + at:07d}.dpx"] = reel.files[FIRST + at]
    return numbers(places)


def _unreadable(reel: Reel) -> Where:
    places = reel.some(3)
    way = reel.dice.randrange(3)
    for at in places:
        body = bytearray(reel.files[FIRST + at])
        if way == 0:
            body[0:4] = bytes(4)
        elif way == 1:
            body = bytearray(reel.dice.randbytes(len(body)))
        else:
            body[772:776] = bytes(4)  # no pixels in a line
        reel.files[FIRST + at] = bytes(body)
    return numbers(places)


def _truncated(reel: Reel) -> Where:
    places = reel.some(3)
    for at in places:
        body = reel.files[FIRST + at]
        reel.files[FIRST + at] = body[: reel.dice.randint(2048, len(body) - 1)]
    return numbers(places)


def _size(reel: Reel) -> Where:
    cut = reel.dice.choice([(2, 0), (0, 2), (4, 4)])
    return reel.redraw(reel.some(), lambda at: reel.original(at)[: HEIGHT - cut[0], : WIDTH - cut[1]])


def _depth(reel: Reel) -> Where:
    reel.also |= {Kind.PACKING}
    return reel.redraw(reel.some(), reel.original, bits=reel.dice.choice([8, 16]))


def _channels(reel: Reel) -> Where:
    reel.also |= {Kind.PACKING}
    return reel.redraw(reel.some(), lambda at: reel.original(at)[:, :, :1])


def _packing(reel: Reel) -> Where:
    return reel.redraw(reel.some(), reel.original, endian="big")


def _byte(place: int, choices: list[int]) -> Callable[[Reel], Where]:
    def damage(reel: Reel) -> Where:
        places = reel.some()
        value = reel.dice.choice(choices)
        for at in places:
            body = bytearray(reel.files[FIRST + at])
            body[place] = value
            reel.files[FIRST + at] = bytes(body)
        return numbers(places)

    return damage


def _not_as_asked(reel: Reel) -> Where:
    wrong = reel.dice.choice(
        [
            *({"width": WIDTH + 2}, {"height": HEIGHT + 2}, {"bits": 16}, {"channels": 4}, {"transfer": "linear"}),
            *({"packing": "packed, big-endian"}, {"orientation": "right to left, top to bottom"}),
        ]
    )
    reel.asked = Asked(frames=reel.count, gauge=GAUGES["35mm"], rate=RATE, picture=Picture.model_validate(wrong))
    return numbers(range(reel.count))


def _flat(level: int) -> Callable[[Reel], Where]:
    def damage(reel: Reel) -> Where:
        grain = np.random.default_rng(reel.dice.randrange(1 << 30))

        def picture(_at: int) -> Any:
            noise = grain.normal(0, 6, (HEIGHT, WIDTH, 3))
            return (np.clip(level + noise, 0, 1023) * 65535 / 1023).astype(np.uint16)

        return reel.redraw(reel.some(), picture)

    return damage


def _held(at_least: int, most: int) -> Callable[[Reel], Where]:
    def damage(reel: Reel) -> Where:
        more = reel.dice.randint(at_least, most)
        first = reel.dice.randint(1, reel.count - more - 1)
        for at in range(first + 1, first + 1 + more):
            reel.files[FIRST + at] = reel.frame(at, reel.pool.bodies[reel.start + first])
        return numbers(range(first + 1, first + 1 + more))

    return damage


def _repeated(reel: Reel) -> Where:
    if reel.dice.random() < 0.5:
        return _held(1, 1)(reel)
    length = reel.dice.randint(2, 5)  # a stretch that comes again later, as when two takes of a scan were joined
    first = reel.dice.randint(0, reel.count - 2 * length - 2)
    again = reel.dice.randint(first + length + 1, reel.count - length)
    for step in range(length):
        reel.files[FIRST + again + step] = reel.frame(again + step, reel.pool.bodies[reel.start + first + step])
    return numbers(range(again, again + length))


def _header(name: str, value: Callable[[Reel, int], Any]) -> Callable[[Reel], Where]:
    def damage(reel: Reel) -> Where:
        places = reel.some()
        for at in places:
            reel.files[FIRST + at] = reel.frame(at, **{name: value(reel, at)})
        return numbers(places)

    return damage


def _edge_code(reel: Reel) -> Where:
    """The code runs backwards from some frame on, or moves by a part of a frame: one place where it parts."""
    at = reel.dice.randint(2, reel.count - 2)
    back = reel.dice.choice([-4 * reel.dice.randint(2, 50), reel.dice.randint(1, 3)])
    reel.mark = max(reel.mark, 1000)
    reel.files = {FIRST + n: reel.frame(n) for n in range(reel.count)}
    for later in range(at, reel.count):
        reel.files[FIRST + later] = reel.frame(later, perforation=reel.mark + 4 * later + back)
    return numbers(range(at, at + 1))


def _edge_gap(reel: Reel) -> Where:
    at, lacking = reel.dice.randint(2, reel.count - 2), reel.dice.randint(1, 400)
    for later in range(at, reel.count):
        reel.files[FIRST + later] = reel.frame(later, perforation=reel.mark + 4 * (later + lacking))
    return numbers(range(at, at + 1))


def _length(reel: Reel) -> Where:
    off = reel.dice.randint(17, 200) * reel.dice.choice([1, -1])
    if reel.dice.random() < 0.5 or off < 0:
        frames = reel.count + abs(off)
        reel.asked = Asked(frames=frames, gauge=GAUGES["35mm"], rate=RATE)
    else:  # measured in feet on film that lost one part in a hundred (a transfer guide's rule)
        feet = Fraction(reel.count + off, 16) * Fraction(99, 100)
        reel.asked = Asked(feet=feet, shrinkage=Fraction(1, 100), gauge=GAUGES["35mm"], rate=RATE)
    return ()


def _tone(reel: Reel, frames: float) -> Any:
    at = np.arange(round(frames / RATE * SAMPLES))
    return (0.5 * np.sin(at * 0.13) + 0.01 * np.sin(at * 0.7 + reel.dice.random())).astype(np.float32)


def _sound_length(reel: Reel) -> Where:
    reel.sound = _tone(reel, reel.count + reel.dice.choice([-1, 1]) * (1.2 + reel.dice.random() * 10))
    return ()


def _clipping(reel: Reel) -> Where:
    reel.sound = _tone(reel, reel.count)
    at = reel.dice.randint(1000, len(reel.sound) - 1000)
    length = reel.dice.randint(4, 300)
    reel.sound[at : at + length] = 1.0
    return _heard(at, at + length)


def _silence(reel: Reel) -> Where:
    reel.count = 90  # five seconds at 18
    reel.files = {FIRST + at: reel.frame(at, reel.pool.bodies[at], length=90) for at in range(90)}
    reel.asked = Asked(frames=90, gauge=GAUGES["35mm"], rate=RATE)
    reel.sound = _tone(reel, 90)
    length = reel.dice.randint(2 * SAMPLES, 3 * SAMPLES)
    at = reel.dice.randint(SAMPLES, len(reel.sound) - length - 100)
    reel.sound[at : at + length] = 0
    reel.sound[at - 1] = reel.sound[at + length] = 0.3  # the tone itself may pass through nought beside it
    return _heard(at, at + length)


def _heard(first: int, after: int) -> Where:
    """The picture frames that lie beside samples `first` to before `after`, counted from 0."""
    return (FrameRange(first=first * 18 // SAMPLES, last=(after - 1) * 18 // SAMPLES),)


DAMAGES: dict[Kind, Callable[[Reel], Where]] = {
    Kind.GAP: _gap,
    Kind.DOUBLE: _double,
    Kind.MIXED: _mixed,
    Kind.UNREADABLE: _unreadable,
    Kind.TRUNCATED: _truncated,
    Kind.SIZE: _size,
    Kind.DEPTH: _depth,
    Kind.CHANNELS: _channels,
    Kind.PACKING: _packing,
    Kind.TRANSFER: _byte(801, [2, 3, 6]),
    Kind.ORIENTATION: _byte(769, [1, 2, 3]),
    Kind.NOT_AS_ASKED: _not_as_asked,
    Kind.BLACK: _flat(95),
    Kind.CLEAR: _flat(690),
    Kind.FROZEN: _held(2, 8),
    Kind.REPEATED: _repeated,
    Kind.POSITION: _header("position", lambda reel, at: at + reel.dice.choice([-1, 1, 7, 1000]) if at else at + 7),
    Kind.COUNT: _header("length", lambda reel, _at: reel.count + reel.dice.randint(1, 9)),
    Kind.RATE: _header("rate", lambda reel, _at: reel.dice.choice([16.0, 20.0, 24.0, 25.0])),
    Kind.EDGE_CODE: _edge_code,
    Kind.EDGE_GAP: _edge_gap,
    Kind.LENGTH: _length,
    Kind.SOUND_LENGTH: _sound_length,
    Kind.CLIPPING: _clipping,
    Kind.SILENCE: _silence,
}
