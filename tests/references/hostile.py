"""Files that mean harm: good pictures and sounds whose headers lie, each from its seed."""

import io
import random
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio  # noqa: N813  its own name
import soundfile

from tests.references.damage import titled, written

_HUGE = (2**31 - 1, 2**31, 2**32 - 1, 65_536, 1_000_000, 0, 1)
Fuzz = Callable[[random.Random, bytearray], bytes]


def good_files(scratch: Path) -> dict[str, list[bytes]]:
    """Return a few whole files of each kind, by extension."""
    picture = np.random.default_rng(1).integers(0, 65535, (24, 32, 3), dtype=np.uint16)
    found: dict[str, list[bytes]] = {
        "dpx": [
            titled(written(scratch / "a.dpx", picture, bits, endian), 3, 9, 18.0, 640, b"123456")
            for bits, endian in ((10, "big"), (10, "little"), (16, "big"), (8, "little"), (12, "big"))
        ]
    }
    for kind, forms in {
        "tif": [(oiio.UINT16, "none"), (oiio.UINT8, "lzw"), (oiio.FLOAT, "zip")],
        "png": [(oiio.UINT16, "zip"), (oiio.UINT8, "zip")],
        "exr": [(oiio.HALF, c) for c in ("none", "rle", "zip", "piz", "pxr24", "b44", "dwaa")] + [(oiio.FLOAT, "zips")],
    }.items():
        found[kind] = [_by_oiio(scratch / f"a.{kind}", picture, form, how) for form, how in forms]
    found["wav"] = [_sound("WAV", "PCM_16"), _sound("WAV", "FLOAT")]
    found["flac"] = [_sound("FLAC", "PCM_16")]
    found |= {kind: [_movie(scratch / f"a.{kind}", codec)] for kind, codec in (("mov", "libx264"), ("avi", "mpeg4"))}
    return found


def _by_oiio(place: Path, picture: np.ndarray, form: object, how: str) -> bytes:
    spec = oiio.ImageSpec(picture.shape[1], picture.shape[0], 3, form)
    spec.attribute("compression", how)
    output = oiio.ImageOutput.create(str(place))
    assert output.open(str(place), spec), output.geterror()
    assert output.write_image(picture)
    output.close()
    return place.read_bytes()


def _sound(container: str, form: str) -> bytes:
    body = io.BytesIO()
    soundfile.write(body, np.sin(np.arange(4000) / 9).astype(np.float32), 8000, form, format=container)
    return body.getvalue()


def _movie(place: Path, codec: str) -> bytes:
    grain = np.random.default_rng(4)
    with av.open(str(place), "w") as container:
        stream = container.add_stream(codec, rate=24)
        stream.width, stream.height, stream.pix_fmt = 32, 24, "yuv420p"
        for _ in range(6):
            frame = av.VideoFrame.from_ndarray(grain.integers(30, 220, (36, 32), dtype=np.uint8), "yuv420p")
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return place.read_bytes()


def hostile(good: dict[str, list[bytes]], seed: int) -> tuple[str, bytes]:
    """Return a kind and a file of it that was tampered with."""
    dice = random.Random(seed)
    kind = dice.choice(["dpx", "dpx", "tif", "png", "exr", "exr", "wav", "flac", "mov", "avi"])
    body = bytearray(dice.choice(good[kind]))
    own = {"dpx": _dpx, "png": _png, "tif": _tiff, "exr": _exr, "mov": _mov, "avi": _avi}.get(kind, _bytes)
    way = dice.choice([own, own, _bytes, _cut, _noise, _endless])
    return kind, way(dice, body)


def _bytes(dice: random.Random, body: bytearray) -> bytes:
    for _ in range(dice.choice([1, 4, 40])):
        body[dice.randrange(min(len(body), dice.choice([128, 2048, 10**6])))] = dice.choice([0, 1, 127, 128, 255])
    return bytes(body)


def _cut(dice: random.Random, body: bytearray) -> bytes:
    return bytes(body[: dice.choice([0, 1, 4, 100, dice.randrange(len(body))])])


def _noise(dice: random.Random, body: bytearray) -> bytes:
    return bytes(body[: dice.choice([4, 8, 64])]) + dice.randbytes(dice.randrange(5000))


def _endless(dice: random.Random, body: bytearray) -> bytes:
    """Text fields that never end."""
    first = dice.randrange(min(len(body), 2000))
    body[first : first + dice.choice([100, 2000])] = b"A" * dice.choice([100, 2000, 100_000])
    return bytes(body)


def _dpx(dice: random.Random, body: bytearray) -> bytes:
    order = ">" if body[:4] == b"SDPX" else "<"
    for _ in range(dice.randint(1, 3)):
        place = dice.choice([4, 16, 20, 24, 772, 776, 808, 812, 816, 1712, 1716])
        struct.pack_into(f"{order}I", body, place, dice.choice(_HUGE))
    body[dice.choice([800, 801, 803, 805, 807])] = dice.randrange(256)
    return bytes(body)


def _png(dice: random.Random, body: bytearray) -> bytes:
    """Dimensions that lie, under a checksum that does not; and pictures of nothing that swell a thousandfold."""
    wide, high = dice.choice([(w, h) for w in _HUGE for h in _HUGE])
    struct.pack_into(">II", body, 16, wide, high)
    struct.pack_into(">I", body, 29, zlib.crc32(body[12:29]))
    if dice.random() < 0.5:
        return bytes(body)
    nothing = zlib.compress(bytes(50_000_000 if dice.random() < 0.05 else 500_000), 9)
    data = struct.pack(">I", len(nothing)) + b"IDAT" + nothing + struct.pack(">I", zlib.crc32(b"IDAT" + nothing))
    return bytes(body[:33]) + data + b"\0\0\0\0IEND\xaeB`\x82"


def _mov(dice: random.Random, body: bytearray) -> bytes:
    """Sizes and counts that lie, in the boxes of ISO/IEC 14496-12: of a sample's entry, and of the tables."""
    at = body.index(b"avc1") + 4
    struct.pack_into(">HH", body, at + 24, *dice.choices([0, 1, 20_000, 65_535], k=2))
    table = dice.choice([b"stsz", b"stts", b"stco", b"stsc"])
    struct.pack_into(">I", body, body.index(table) + 8, dice.choice(_HUGE))
    return bytes(body)


def _avi(dice: random.Random, body: bytearray) -> bytes:
    at = body.index(b"strf") + 8  # a bitmap's header: its own size, then width and height
    struct.pack_into("<ii", body, at + 4, *dice.choices([0, 1, -1, 20_000, 2**31 - 1], k=2))
    struct.pack_into("<I", body, body.index(b"avih") + 8 + 16, dice.choice(_HUGE))
    return bytes(body)


def _tiff(dice: random.Random, body: bytearray) -> bytes:
    order = "<" if body[:2] == b"II" else ">"
    (at,) = struct.unpack_from(f"{order}I", body, 4)
    if dice.random() < 0.2:
        struct.pack_into(f"{order}I", body, 4, dice.choice([*_HUGE, at - 2]))
        return bytes(body)
    (entries,) = struct.unpack_from(f"{order}H", body, at)
    for _ in range(dice.randint(1, 3)):
        place = at + 2 + dice.randrange(entries) * 12
        struct.pack_into(f"{order}I", body, place + dice.choice([4, 8]), dice.choice(_HUGE))
    return bytes(body)


def _exr(dice: random.Random, body: bytearray) -> bytes:
    for name, width in ((b"dataWindow\0box2i\0", 16), (b"displayWindow\0box2i\0", 16), (b"channels\0chlist\0", 8)):
        if dice.random() < 0.5:
            at = body.index(name) + len(name) + 4
            for place in range(at, at + width, 4):
                if dice.random() < 0.5:
                    struct.pack_into("<i", body, place, dice.choice([-(2**31), -1, 0, 31, 2**31 - 1, 20_000]))
    if dice.random() < 0.3:
        at = body.index(b"compression\0compression\0") + 24 + 4
        body[at] = dice.randrange(12)
    if dice.random() < 0.3:
        at = body.index(b"dataWindow\0box2i\0") + 17
        struct.pack_into("<i", body, at, dice.choice([-1, 2**31 - 1, 10**6]))
    return bytes(body)
