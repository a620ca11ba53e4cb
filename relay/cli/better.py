"""By how much a late print's figures are better or worse than another's, shot by shot."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from relay.model import VersionName
from relay.transfer.late import Beside, LateReel

if TYPE_CHECKING:
    from relay.media.quality import Look

FIGURES = {
    "sharpness": (1, 0.1),
    "grain": (-1, 0.05),
    "tones": (1, 0.5),
    "damage": (-1, 0.05),
    "picture": (1, 0.5),
    "decay": (-1, 0.5),
}
"""Which way a figure goes to what is usually liked, and by how much it must differ to count. A person chooses."""
COUNTS = 0.05
"""Of the other's figure: less than a twentieth is much the same."""


def better(reel: LateReel, other: VersionName) -> str:
    """Return which figures of the late print are better and which worse, in how many shots, by how much at most."""
    looks = [each for each in reel.looks if each.other == other]
    gains = {
        name: [way * differences(each.late, each.there)[name] for each in looks if _counts(each, name)]
        for name, (way, _) in FIGURES.items()
    }
    told = []
    for word, way in (("better", 1), ("worse", -1)):
        found = {name: [way * by for by in each if way * by > 0] for name, each in gains.items()}
        shots = f"of {len(looks)} (by up to"
        said = [f"{name} in {len(each)} {shots} {max(each):.2f})" for name, each in found.items() if each]
        told += [f"{word}: {', '.join(said)}"] if said else []
    alike = [name for name, each in gains.items() if not each]
    return "; ".join([*told, *([f"{', '.join(alike)} much the same"] if alike else [])])


def _counts(each: Beside, name: str) -> bool:
    by, theirs = differences(each.late, each.there)[name], figures(each.there)[name]
    return abs(by) > max(FIGURES[name][1], COUNTS * theirs)


def figures(look: "Look") -> dict[str, float]:
    picture = look.wide * look.high / 100
    return {
        "sharpness": look.sharpness,
        "grain": look.grain,
        "tones": look.light - look.dark,
        "damage": look.damage,
        "picture": picture,
        "decay": look.decay,
    }


def differences(late: "Look", there: "Look") -> Mapping[str, float]:
    """Return by how much the late print's figures are more, or less, than the other's."""
    ours, theirs = figures(late), figures(there)
    return {name: round(ours[name] - theirs[name], 2) for name in ours}
