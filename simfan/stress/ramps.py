"""Ramp limits: how fast a setpoint may move from where to where.

Each pair of setpoints is tried at a few durations. Where some keep all requirements, both ends of
the slowest stretch of them are halved out (in the logarithm): too fast breaks a requirement, and
too slow can, such as a time to settle. All pairs go side by side. A window narrower than two tried
durations can be missed.
"""

from dataclasses import replace
from math import ceil, log, log1p, log2
from typing import NamedTuple

import numpy as np

from simfan.stress.smallest import halve
from simfan.stress.tally import Array, Evaluate
from simfan.stress_answer import RampLimits, RampRow

TRIED = 12
"""Durations tried first, from the shortest to the longest."""
TOLERANCE = 0.05
"""Share of a duration."""


class Stretches(NamedTuple):
    """Of each move its slowest stretch of durations that keep all requirements."""

    fastest: Array
    """(q,) [s]; inf where none does."""
    slowest: Array
    """(q,) [s]; the longest that was run where no slower one is known to break."""
    breaks: Array
    """(q,) column of the requirement that a faster one breaks, or that the best one keeps least
    where none keeps all; -1 for none [1]."""
    runs: int
    """Made for it [1]."""


def ramp_limits(moves: Evaluate, setpoints: Array, shortest: float, longest: float,
                tolerance: float = TOLERANCE) -> RampLimits:
    """The fastest ramp from each setpoint to each that keeps all requirements, and the slowest.

    `moves` takes (n, 3): from, to [held unit], duration [s]. Raises ValueError for durations out of
    order, fewer than two setpoints, or a tolerance that is not above 0.
    """
    setpoints = np.asarray(setpoints, dtype=float)
    _check(setpoints, shortest, longest, tolerance)
    n = setpoints.size
    pairs = np.array([(i, j) for i in range(n) for j in range(n) if i != j])
    found = stretches(moves, setpoints[pairs], np.full(len(pairs), shortest), longest, TRIED,
                      tolerance)
    return RampLimits(setpoints, _matrix(pairs, found.fastest, n, np.nan),
                      _matrix(pairs, found.slowest, n, np.nan), _matrix(pairs, found.breaks, n, -1),
                      shortest, longest, tolerance, found.runs)


def most_runs(setpoints: int, shortest: float, longest: float, tolerance: float = TOLERANCE) -> int:
    """No map of so many setpoints, with its table, takes more runs [1]."""
    return setpoints * (setpoints - 1) * (1 + runs_of_one(shortest, longest, TRIED, tolerance))


def runs_of_one(shortest: float, longest: float, tried: int, tolerance: float, sides: int = 2
                ) -> int:
    """Runs of one move in `stretches`, at most."""
    apart = log(longest / shortest) / (tried - 1)
    return tried + sides * max(0, ceil(log2(apart / log1p(tolerance)))) + 1


def stretches(moves: Evaluate, fixed: Array, shortest: Array, longest: float, tried: int,
              tolerance: float, sides: int = 2) -> Stretches:
    """Each row of `fixed` (q, 2 + r), from, to and what else `moves` (n, 3 + r) takes after the
    duration, tried at a few durations from its own shortest (q,) [s] on, then halved out; with one
    side only the fast end."""
    q, along = len(fixed), np.linspace(0.0, 1.0, tried)
    logs = np.log(shortest)[:, None] * (1.0 - along) + log(longest) * along
    at = np.concatenate([np.repeat(fixed[:, None, :2], tried, axis=1), logs[:, :, None],
                         np.repeat(fixed[:, None, 2:], tried, axis=1)], axis=2)
    evaluate = _in_logarithm(moves)
    seen = evaluate(at.reshape(q * tried, -1)).reshape(q, tried, -1)
    first, last = _stretch(np.asarray((seen >= 0.0).all(axis=2)))
    fast, slow = np.flatnonzero(first > 0), np.flatnonzero((last >= 0) & (last < tried - 1))
    slow = slow if sides > 1 else slow[:0]
    rows, ends = np.concatenate([fast, slow]), np.concatenate([first[fast], last[slow]])
    beyond = np.concatenate([first[fast] - 1, last[slow] + 1])
    holds, breaks, runs = halve(evaluate, at[rows, ends], at[rows, beyond],
                                np.tile(np.arange(seen.shape[2]), (rows.size, 1)),
                                np.log1p(tolerance))
    fastest = np.where(last < 0, np.inf, shortest)
    slowest = np.where(last < 0, np.inf, longest)
    fastest[fast] = np.exp(holds[: fast.size, 2])
    slowest[slow] = np.exp(holds[fast.size:, 2])
    broken = np.where(last < 0, seen.max(axis=1).argmin(axis=1), -1)
    if fast.size:
        broken[fast] = evaluate(breaks[: fast.size]).argmin(axis=1)
    return Stretches(fastest, slowest, broken, q * tried + runs + fast.size)


def _in_logarithm(moves: Evaluate) -> Evaluate:
    """Moves that take the logarithm of their duration."""
    def evaluate(points: Array) -> Array:
        return moves(np.column_stack([points[:, :2], np.exp(points[:, 2]), points[:, 3:]]))

    return evaluate


def _stretch(kept: Array) -> tuple[Array, Array]:
    """(q,), (q,) first and last place of the last run of True in each row; (0, -1) without one."""
    n = kept.shape[1]
    last = np.where(kept.any(axis=1), n - 1 - np.argmax(kept[:, ::-1], axis=1), -1)
    before = ~kept & (np.arange(n) < last[:, None])
    first = np.where(before.any(axis=1), n - np.argmax(before[:, ::-1], axis=1), 0)
    return np.where(last < 0, 0, first), last


def table(moves: Evaluate, limits: RampLimits) -> list[RampRow]:
    """For each setpoint that is left, the rate that serves every higher, and every lower one.

    Most moves are slower at that rate than they need be, and slower is not always kinder: each is
    run once more at it.
    """
    rows, order = [], np.argsort(limits.setpoints)
    for place, i in enumerate(order):
        up, down = order[place + 1:], order[:place]
        rows.append(RampRow(float(limits.setpoints[i]), _least(limits, i, up),
                            _least(limits, i, down), _free(limits, i, up), _free(limits, i, down),
                            False, False))
    kept = _kept(moves, limits.setpoints[order], rows)
    return [replace(row, up_kept=bool(kept[k, k:].all()), down_kept=bool(kept[k, :k].all()))
            for k, row in enumerate(rows)]


def _kept(moves: Evaluate, setpoints: Array, rows: list[RampRow]) -> Array:
    """(k, k) whether each move keeps all at the rate of its row; True where the row has none."""
    good = np.ones((setpoints.size,) * 2, dtype=bool)
    asked = [(i, j, rate) for i, row in enumerate(rows) for j in range(setpoints.size)
             if i != j and (rate := (row.up if j > i else row.down) or 0.0) > 0.0]
    if asked:
        i, j = (np.array([a[k] for a in asked], dtype=int) for k in (0, 1))
        start, end = setpoints[i], setpoints[j]
        seconds = np.abs(end - start) / np.array([a[2] for a in asked])
        good[i, j] = moves(np.column_stack([start, end, seconds])).min(axis=1) >= 0.0
    return good


def _matrix(pairs: Array, values: Array, n: int, diagonal: float) -> Array:
    """(n, n) with the values of pairs (q, 2) of places."""
    found = np.full((n, n), diagonal, dtype=values.dtype)
    found[pairs[:, 0], pairs[:, 1]] = values
    return found


def _least(limits: RampLimits, i: int, others: Array) -> float | None:
    return float(np.min(limits.rates[i, others])) if others.size else None


def _free(limits: RampLimits, i: int, others: Array) -> bool:
    return bool(np.all(limits.free[i, others]))


def _check(setpoints: Array, shortest: float, longest: float, tolerance: float) -> None:
    if not 0.0 < shortest < longest:
        raise ValueError(f"durations: got {shortest} to {longest} s, allowed: above 0, in order")
    if np.unique(setpoints).size < max(2, setpoints.size):
        raise ValueError("setpoints: allowed: two or more, no two alike")
    if not tolerance > 0.0:
        raise ValueError(f"tolerance: got {tolerance}, allowed: above 0")
