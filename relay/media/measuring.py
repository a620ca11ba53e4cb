"""Measures frames in a process of its own, since it decodes strangers' pictures: `python -m relay.media.measuring`.

Reads JSON on standard input, a list of three paths for each frame to measure: the frame before it, itself, the frame
after it. Writes a list of figures (`relay.media.quality.Look`), or one sentence on standard error with exit code 2.
"""

import json
import resource
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import av
import numpy as np
from av.video.reformatter import VideoReformatter

from relay.errors import RefusedError
from relay.media.quality import Look, Luma, look_at
from relay.media.reference import decoded

MEMORY = 6 * 1024 * 1024 * 1024  # bytes of address space
Triple = tuple[str, str, str]


def measured(triples: Sequence[Triple], environment: Mapping[str, str]) -> list[Look]:
    """Return the figures of each middle frame. Raises RefusedError where one cannot be decoded."""
    done = subprocess.run(
        [sys.executable, "-P", "-m", "relay.media.measuring"],
        input=json.dumps(triples),
        capture_output=True,
        text=True,
        check=False,
        env=dict(environment),
    )
    if done.returncode != 0:
        said = done.stderr.strip().splitlines()[-1:] or [f"the measuring ended with {done.returncode}"]
        raise RefusedError(said[0])
    return [Look(*figures) for figures in json.loads(done.stdout)]


def _luma(path: str) -> Luma:
    grey = VideoReformatter().reformat(decoded(Path(path)), format="gray16le")
    return np.asarray(grey.to_ndarray(), np.float32) / np.float32(65535)


def main() -> int:
    """Do what standard input says; returns the exit code."""
    if sys.platform == "linux":
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    try:
        looks = [look_at(*(_luma(path) for path in triple)) for triple in json.load(sys.stdin)]
    except (ValueError, OSError, MemoryError, av.FFmpegError) as fault:
        print(f"not measured: {fault}", file=sys.stderr)  # noqa: T201  for whoever started this
        return RefusedError.exit_code
    json.dump(looks, sys.stdout)
    return 0


if __name__ == "__main__":
    sys.exit(main())
