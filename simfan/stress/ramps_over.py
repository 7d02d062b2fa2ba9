"""Ramp limits over several plants of a space: from the limits of one to what all of them bear.

A plant on which even the slowest ramp that the first one bears breaks something is no matter of
ramps: it is left out of that move, counted and told. Each limit is run on all others. Where one
breaks, the worst of them says how much slower it has to be, and all are asked again; so each limit
that is told was run on every one of them and kept all. What they cannot agree on in a few rounds
has no limit.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simfan.stress.ramps import TOLERANCE, runs_of_one, stretches
from simfan.stress.tally import Array, Evaluate
from simfan.stress_answer import RampLimits

ROUNDS = 2
"""Times that a move is slowed down."""
TRIED = 5
"""Durations tried on the worst plant, from the last limit to the longest."""

Each = Callable[[Array], Array]
"""Moves on plants, (n, 3 + r): from, to, duration [s], what is uncertain → distances (n, m)."""


def over_plants(each: Each, limits: RampLimits, plants: Array) -> RampLimits:
    """The limits that hold on all plants, (u, r) rows; `limits` are of the plant they started from.

    Never faster than those. Raises ValueError without a plant.
    """
    if not len(plants):
        raise ValueError("plants: got none, allowed: one or more")
    pairs = np.argwhere(np.isfinite(limits.fastest))
    where, ends = (pairs[:, 0], pairs[:, 1]), limits.setpoints[pairs]
    over = _Over(each, plants, limits)
    fastest, breaks = limits.fastest.copy(), limits.breaks.copy()
    left_out, uncured = np.zeros(fastest.shape, dtype=int), np.zeros(0, dtype=int)
    if len(pairs):
        slow = over.run(ends, limits.slowest[where])
        able = np.asarray((slow >= 0.0).all(axis=2))
        left_out[where] = np.count_nonzero(~able, axis=1)
        uncured = np.flatnonzero((slow < 0.0).any(axis=(0, 1)))
        none = ~able.any(axis=1)
        fastest[where], breaks[where] = np.inf, slow.min(axis=1).argmin(axis=1)
        kept = tuple(w[~none] for w in where)
        fastest[kept], breaks[kept] = over.agreed(ends[~none], limits.fastest[kept],
                                                  limits.breaks[kept], able[~none])
    slowest = np.where(np.isfinite(fastest), limits.longest, fastest)
    return replace(limits, fastest=fastest, slowest=slowest, breaks=breaks, runs=over.runs,
                   plants=len(plants), left_out=left_out, uncured=tuple(map(int, uncured)))


class _Over:
    """Moves on all plants at once, counted."""

    def __init__(self, each: Each, plants: Array, limits: RampLimits) -> None:
        self.each, self.plants, self.limits, self.runs = each, plants, limits, 0

    def run(self, ends: Array, duration: Array) -> Array:
        """(q, u, m) distances of each move on each plant."""
        self.runs += len(ends) * len(self.plants)
        return _on_all(self.each, ends, duration, self.plants)

    def agreed(self, ends: Array, duration: Array, breaks: Array, able: Array
               ) -> tuple[Array, Array]:
        """(duration, breaks) of moves (q, 2) that all able plants (q, u) keep; inf for none."""
        duration, breaks, left = duration.copy(), breaks.copy(), np.arange(len(ends))
        for again in range(ROUNDS + 1):
            if not left.size:
                break
            seen = np.where(able[left][:, :, None], self.run(ends[left], duration[left]), np.inf)
            bad = (seen < 0.0).any(axis=(1, 2))
            left, seen = left[bad], seen[bad]
            worst = seen.min(axis=2).argmin(axis=1)
            breaks[left] = seen[np.arange(left.size), worst].argmin(axis=1)
            if again == ROUNDS or not left.size:
                duration[left] = np.inf
                break
            found = stretches(self.each, np.hstack([ends[left], self.plants[worst]]),
                              duration[left], self.limits.longest, TRIED, self.limits.tolerance, 1)
            self.runs += found.runs
            duration[left] = found.fastest
            breaks[left] = np.where(found.breaks >= 0, found.breaks, breaks[left])
            left = left[np.isfinite(found.fastest)]
        return duration, breaks


def _on_all(each: Each, ends: Array, duration: Array, plants: Array) -> Array:
    """(q, u, m) distances of each move on each plant."""
    moves = np.column_stack([ends, duration])
    rows = np.hstack([np.repeat(moves, len(plants), axis=0), np.tile(plants, (len(moves), 1))])
    return np.asarray(each(rows)).reshape(len(moves), len(plants), -1)


def worst_of(each: Each, plants: Array, limits: RampLimits | None = None) -> Evaluate:
    """Moves (n, 3) judged by the worst of several plants, (u, r); with `limits` of the plant they
    started from only by those that `over_plants` does not leave out."""
    def worst(moves: Array) -> Array:
        seen = _on_all(each, moves[:, :2], moves[:, 2], plants)
        if limits is not None:
            slow = _on_all(each, moves[:, :2], _slowest(limits, moves), plants)
            able = np.asarray((slow >= 0.0).all(axis=2))
            able |= ~able.any(axis=1, keepdims=True)
            seen = np.where(able[:, :, None], seen, np.inf)
        return np.asarray(seen.min(axis=1))

    return worst


def _slowest(limits: RampLimits, moves: Array) -> Array:
    """(n,) duration of the slowest ramp between the setpoints of each move [s]."""
    start, end = (np.abs(limits.setpoints[:, None] - moves[:, k]).argmin(axis=0) for k in (0, 1))
    found = limits.slowest[start, end]
    return np.where(np.isfinite(found), found, limits.longest)


def most_runs(setpoints: int, plants: int, shortest: float, longest: float,
              tolerance: float = TOLERANCE) -> int:
    """No map over so many plants, with its table, takes more runs [1]."""
    each = plants * (ROUNDS + 3) + ROUNDS * runs_of_one(shortest, longest, TRIED, tolerance, 1)
    return setpoints * (setpoints - 1) * each


def most_plants(setpoints: int, runs: int, shortest: float, longest: float,
                tolerance: float = TOLERANCE) -> int:
    """So many plants the map takes within so many runs [1]."""
    left = runs // (setpoints * (setpoints - 1)) - ROUNDS * runs_of_one(
        shortest, longest, TRIED, tolerance, 1)
    return max(0, left // (ROUNDS + 3))
