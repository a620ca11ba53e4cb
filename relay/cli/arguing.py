"""What speaks for one print and against another at a place, by what was measured there: words, and no choice."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from relay.cli.better import COUNTS, FIGURES, figures
from relay.model import VersionName
from relay.programme.coverage import level_of

if TYPE_CHECKING:
    from relay.media.quality import Look

_WORDS = {
    "sharpness": ("sharpest", "least sharp", "{:.1f} %"),
    "grain": ("least grain", "most grain", "{:.2f} %"),
    "tones": ("widest range of tones", "narrowest range of tones", "{:.1f} %"),
    "damage": ("least damage", "most damage", "{:.2f} ‰"),
    "picture": ("most of the picture", "least of the picture", "{:.0f} %"),
    "decay": ("least decayed", "most decayed", "{:.1f} %"),
}
_NEAREST = ("negative", "copy", "print")


def arguments(
    looks: "Mapping[VersionName, Look]", kinds: Mapping[VersionName, str]
) -> dict[VersionName, tuple[list[str], list[str]]]:
    """Return of each print what it is best at of all that were measured, and what it is worst at; kinds in words.

    Only what differs from the next by enough to count. Of two, the one is best where the other is worst: said once.
    """
    found: dict[VersionName, tuple[list[str], list[str]]] = {name: ([], []) for name in looks}
    if len(looks) < 2:
        return found  # there is nothing to argue
    for figure, (way, least) in FIGURES.items():
        order = sorted(looks, key=lambda name: -way * figures(looks[name])[figure])
        best, worst, form = _WORDS[figure]
        ends = [(order[:2], 0, best)] + ([(order[:-3:-1], 1, worst)] if len(order) > 2 else [])
        for pair, side, word in ends:
            own, other = (figures(looks[name])[figure] for name in pair)
            if abs(own - other) > max(least, COUNTS * other):
                found[pair[0]][side].append(f"{word} ({form.format(own)}, the next {form.format(other)})")
    nearest = _nearest_to_the_camera({name: kinds.get(name, "") for name in looks})
    if nearest is not None:
        found[nearest][0].append(f"nearest to the camera ({kinds[nearest].partition(',')[0]})")
    return found


def _nearest_to_the_camera(kinds: Mapping[VersionName, str]) -> VersionName | None:
    """Return the one print that is nearer than all others by its kind; None where two are as near."""
    steps = {name: _NEAREST.index(level_of(kind.partition(",")[0])) for name, kind in kinds.items()}
    near = [name for name, step in steps.items() if step == min(steps.values())]
    return near[0] if len(near) == 1 else None
