"""Writes the piano cue that goes with a reel, and is as long: 24-bit WAV, two channels, 48,000 samples a second."""

import wave
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from deploy.demo.reels import FRAMES_PER_SECOND

RATE = 48_000
SAMPLES_PER_FRAME = RATE // FRAMES_PER_SECOND
_BEAT = RATE * 2 // 5
# A slow waltz in D minor: for each bar its bass and its chord, as semitones from A at 440 a second.
_BARS = ((-31, (-16, -12, -7)), (-26, (-14, -11, -7)), (-24, (-17, -12, -8)), (-31, (-16, -12, -7)))
_MELODY = (5, 3, 0, 1, 0, -2, -1, 0, 3, 5, 8, 7)


def write_cue(path: Path, frames: int) -> int:
    """Write a cue for `frames` frames of film as `path` and return its length in samples."""
    samples = frames * SAMPLES_PER_FRAME
    tones = _played(samples)
    whole = np.rint(tones * (2**23 - 1)).astype("<i4")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(3)
        file.setframerate(RATE)
        file.writeframes(whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
    return samples


def _played(samples: int) -> NDArray[np.float64]:
    """Left and right for every sample, within -1 to 1, fading out at the end."""
    both = np.zeros((samples, 2))
    for beat in range(samples // _BEAT + 1):
        bass, chord = _BARS[beat // 3 % len(_BARS)]
        left_hand = (bass,) if beat % 3 == 0 else chord
        for semitone in left_hand:
            _strike(both, beat, semitone, loud=0.10, right=0.35)
        _strike(both, beat, _MELODY[beat % len(_MELODY)], loud=0.16, right=0.65)
    fade = np.clip((samples - np.arange(samples)) / (RATE / 4), 0, 1)
    return np.clip(both * fade[:, np.newaxis], -1, 1)


def _strike(both: NDArray[np.float64], beat: int, semitone: int, loud: float, right: float) -> None:
    """Add one string struck at `beat`, `right` of its sound to the right."""
    room = both[beat * _BEAT : beat * _BEAT + 3 * _BEAT]
    seconds = np.arange(len(room)) / RATE
    pitch = 440 * 2 ** (semitone / 12)
    string = sum(
        np.sin(2 * np.pi * pitch * part * seconds) * np.exp(-seconds * (2 + part)) / part**1.4 for part in range(1, 6)
    )
    note = loud * string * np.clip(seconds * 300, 0, 1)
    room += np.stack([note * (1 - right), note * right], axis=1)
