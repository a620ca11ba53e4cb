"""Frames that show nothing: black leader and white leader have no picture to tell them apart, but they have a tone."""

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.pictures import Grey

_FLAT = 6.0  # levels of 255, one standard deviation over the thumbnail
_OTHER_TONE = 80.0
"""Levels of 255 by which the means of two flat frames differ at least that are not the same: exposure and fading move
a leader's tone by less (common practice), from black to clear film it is most of the range."""


def other_tone(one: Grey, other: Grey, match: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Answer for each frame of `one` whether it and its match in `other` (-1: none) are flat, of two tones."""
    known = match >= 0
    (flat, tone), (other_flat, other_mean) = _tones(one), _tones(other)
    to = np.where(known, match, 0)
    return np.asarray(known & flat & other_flat[to] & (np.abs(tone - other_mean[to]) > _OTHER_TONE))


def _tones(grey: Grey) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    return grey.std(axis=(1, 2)) < _FLAT, grey.mean(axis=(1, 2), dtype=np.float64)
