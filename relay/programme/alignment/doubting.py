"""How likely each pair of frames is, given all the others: forward and backward over the same steps as a walk."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from relay.programme.alignment.walking import Costs, Row

Doubles = NDArray[np.float64]


@dataclass(frozen=True)
class Chances:
    """For one frame of A: how likely each frame of B from `low` on is, and that B has none."""

    low: int
    match: Doubles
    none: float


def chances(rows: list[Row], costs: tuple[Costs, Costs, Costs]) -> list[Chances]:
    """Return the chances of each frame of A, given all others. Scores of `rows` are nats, against none.

    `costs` are those at a cut, near one, and elsewhere.
    """
    kinds = [_Steps(each) for each in costs]
    steps = [kinds[row.from_cut] for row in rows]
    seen = [np.exp(row.scores.astype(np.float64)) for row in rows]
    match, none = [seen[0] / len(seen[0])], [np.full(len(seen[0]), steps[0].none / len(seen[0]))]
    for at in range(1, len(rows)):
        moved = _over(match[-1], rows[at - 1].low, rows[at]), _over(none[-1], rows[at - 1].low, rows[at])
        ahead, aside = steps[at].forward(*moved)
        ahead *= seen[at]
        total = ahead.sum() + aside.sum()
        match.append(ahead / total)
        none.append(aside / total)
    return _backward(rows, seen, match, none, steps)


def _backward(
    rows: list[Row], seen: list[Doubles], match: list[Doubles], none: list[Doubles], steps: "list[_Steps]"
) -> list[Chances]:
    found: list[Chances] = []
    ahead, aside = np.ones(len(seen[-1])), np.ones(len(seen[-1]))
    for at in range(len(rows) - 1, -1, -1):
        both, lone = match[at] * ahead, none[at] * aside
        total = both.sum() + lone.sum()
        found.append(Chances(rows[at].low, both / total, float(lone.sum() / total)))
        if at == 0:
            break
        back, back_aside = steps[at].backward(ahead * seen[at], aside)
        ahead = _under(back, rows[at].low - 1, rows[at - 1])
        aside = _under(back_aside, rows[at].low - 1, rows[at - 1])
        scale = max(ahead.max(), aside.max())
        ahead, aside = ahead / scale, aside / scale
    return found[::-1]


def _over(values: Doubles, low: int, row: Row) -> Doubles:
    """Return `values` over the row's columns and the one before them; what lies outside is left to its edge."""
    wide, shift = len(row.scores) + 1, low - (row.low - 1)
    if shift == 1 and len(values) == wide - 1:
        return np.concatenate([[0.0], values])
    out = np.zeros(wide)
    first = min(max(0, -shift), len(values))
    last = max(first, min(wide - shift, len(values)))
    out[first + shift : last + shift] = values[first:last]
    out[0] += values[:first].sum()
    out[-1] += values[last:].sum()
    return out


def _under(values: Doubles, low: int, row: Row) -> Doubles:
    return np.take(values, np.arange(row.low - low, row.low - low + len(row.scores)), mode="clip")


def _running(values: Doubles, goes_on: float) -> Doubles:
    """Return each value with `goes_on` times the sum before it: none is negative, so that nothing cancels."""
    powers = _powers(len(values), goes_on)
    return np.cumsum(values / powers) * powers


@lru_cache(maxsize=256)
def _powers(count: int, of: float) -> Doubles:
    return np.asarray(of ** np.arange(count))


class _Steps:
    """Steps of a walk, as factors."""

    def __init__(self, costs: Costs) -> None:
        self.repeat, self.skip, self.skip_on = (np.exp(-each) for each in (costs.repeat, costs.skip, costs.skip_on))
        self.none, self.none_on, self.jump = (np.exp(-each) for each in (costs.none, costs.none_on, costs.jump))

    def forward(self, match: Doubles, none: Doubles) -> tuple[Doubles, Doubles]:
        """Take a step. Both begin one column before what is returned."""
        both = match + none
        ahead = both[:-1] + self.repeat * match[1:] + self.jump * both.sum()
        if len(ahead) > 1:
            ahead[1:] += self.skip * _running(both[:-2], self.skip_on)
        return ahead, self.none * match[1:] + self.none_on * none[1:]

    def backward(self, ahead: Doubles, aside: Doubles) -> tuple[Doubles, Doubles]:
        """Take a step back: one column more in front."""
        shared = np.zeros(len(ahead) + 1)
        shared[:-1] = ahead
        if len(ahead) > 1:
            shared[:-2] += self.skip * _running(ahead[1:][::-1], self.skip_on)[::-1]
        shared += self.jump * ahead.sum()
        match, none = shared.copy(), shared
        match[1:] += self.repeat * ahead + self.none * aside
        none[1:] += self.none_on * aside
        return match, none
