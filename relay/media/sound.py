"""One file of sound listened to: its length, where it clips, where it is silent. Runs in a child process."""

import struct
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import soundfile  # type: ignore[import-untyped]  # it has no types

from relay.media.allowance import Allow, for_sound

BLOCK = 65536  # samples
FULL_SCALE = 0.9999
RUNS_KEPT = 1000


@dataclass
class _Runs:
    """Runs of samples that have something in common, joined across blocks."""

    shortest: int
    found: list[tuple[int, int]] = field(default_factory=list)
    _open: int | None = None

    def add(self, at: int, flags: np.ndarray[Any, np.dtype[np.bool_]]) -> None:
        if not flags.any():
            return self._close(at)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
        for first, after in zip(edges[::2], edges[1::2], strict=True):
            if first > 0 or self._open is None:
                self._close(at)
                self._open = at + int(first)
            if after < len(flags):
                self._close(at + int(after))
        return None

    def _close(self, at: int) -> None:
        if self._open is not None and at - self._open >= self.shortest and len(self.found) < RUNS_KEPT:
            self.found.append((self._open, at))
        self._open = None

    def closed(self, at: int) -> list[tuple[int, int]]:
        self._close(at)
        return self.found


def heard(path: str, clipped: int, silent_below: float, silent_seconds: float, allow: Allow) -> dict[str, Any]:
    """Return what a file of sound holds: samples, rate, runs of clipping and silence as samples from, to before.

    `silent_below` is a level in dB of full scale. Raises ValueError where it cannot be read to its end.
    """
    try:
        with soundfile.SoundFile(path) as sound:
            rate, channels = sound.samplerate, sound.channels
            if channels > 64:
                raise ValueError(f"it claims {channels} channels: expected at most 64")
            allow(for_sound(sound.frames, channels, BLOCK))
            loud, still = _Runs(clipped), _Runs(max(1, round(silent_seconds * rate)))
            at, level = 0, 10 ** (silent_below / 20)
            for block in sound.blocks(BLOCK, dtype="float32", always_2d=True):
                peaks = np.abs(block).max(axis=1)
                loud.add(at, peaks >= FULL_SCALE)
                still.add(at, peaks < level)
                at += len(block)
            facts = {"samples": at, "rate": rate, "channels": channels, "form": f"{sound.format} {sound.subtype}"}
            facts |= {"clipped": loud.closed(at), "silent": still.closed(at)}
    except soundfile.LibsndfileError as fault:
        raise ValueError(f"it cannot be read as sound: {' '.join(str(fault).split())[:300]}") from fault
    claimed = _claimed(path, channels, sound.subtype)
    if claimed is not None and claimed > at:
        facts["short"] = f"its header claims {claimed} samples, it holds {at}"
    return facts


_SIZES = {"PCM_16": 2, "PCM_24": 3, "PCM_32": 4, "FLOAT": 4, "DOUBLE": 8, "PCM_U8": 1}


def _claimed(path: str, channels: int, form: str) -> int | None:
    """Return how many samples a WAV's header claims: the reader itself believes the file's end instead."""
    with Path(path).open("rb") as file:
        head = file.read(12)
        if head[:4] != b"RIFF" or head[8:12] != b"WAVE" or form not in _SIZES:
            return None
        for _ in range(64):
            chunk = file.read(8)
            if len(chunk) < 8:
                return None
            name, size = struct.unpack("<4sI", chunk)
            if name == b"data":
                return None if size == 0xFFFFFFFF else size // (_SIZES[form] * channels)
            file.seek(size + size % 2, 1)
    return None
