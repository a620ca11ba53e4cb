"""How long better plans are looked for: some seconds, but never less than some looks, or a busy machine plans badly."""

from relay.clock import Clock
from relay.shifts.plan import Budget

FEWEST_LOOKS = 300

EXACT = 2.0
"""For each second of the search, how many the extra `solver` may take on a small plan; it mostly needs less."""


def patience(clock: Clock, seconds: float) -> Budget:
    """Return a budget of `seconds` and at least `FEWEST_LOOKS` looks; of none at all where `seconds` is 0."""
    began, looks = clock.ticks(), 0

    def left() -> float:
        nonlocal looks
        looks += 1
        used = (clock.ticks() - began) / seconds if seconds > 0 else 1.0
        return 1 - (min(used, looks / FEWEST_LOOKS) if seconds > 0 else used)

    return left
