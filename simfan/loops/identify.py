"""Process models from a test on the plant: bump and relay.

The value of a bump test must start at rest; the output may move in any steps, and is held between
samples. A relay test must have come to an even swing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, pi, sqrt

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import t as student

from simfan.errors import RunError
from simfan.loops.models import FirstOrder, SecondOrder, Ultimate
from simfan.steady.bench import Array

CONFIDENCE = 0.95
GUESSES = np.geomspace(0.005, 1.0, 12)
"""Lags and dead times looked at first, of the test's duration."""
LEVELS = 0.283, 1.0 - exp(-1.0)
"""Shares of a step answer: first order reaches them τ/3 and τ after its dead time."""
SETTLED = 0.05
"""Share of a bump test, at its end, whose mean is the final value."""
LEAST_SAMPLES = 10
LEAST_SWINGS = 3
"""Whole periods of a relay test that count."""
UNEVEN = 1.25
"""Longest of them over the shortest."""


@dataclass(frozen=True)
class Fit:
    """A model fitted by least squares."""

    process: FirstOrder | SecondOrder
    half_width: dict[str, float]
    """Field of the model → half the width of its 95 % band, in the field's unit. Holds for errors
    that know nothing of one another; a drift or a slow disturbance makes the truth wider. Of two
    lags nearly alike the bands are too narrow: they cover the truth three times in four."""
    start: float
    """Fitted value before the bump, in the value's unit."""
    left: float
    """Root of the mean square of what the model leaves, in the value's unit."""


@dataclass(frozen=True)
class TwoPoint:
    """A model through two points of a step answer."""

    process: FirstOrder
    early: float
    """t28.3, after the step [s]."""
    late: float
    """t63.2 [s]."""


def two_point(time: Array, value: Array, output: Array) -> TwoPoint:
    """τ = 1.5(t63.2 − t28.3), θ = t63.2 − τ, of one step of the output; no θ below 0.

    Textbooks; from memory. Raises RunError where the output makes not one step or the value does
    not answer it.
    """
    time, value, output = _checked(time, value, output)
    at, by = _steps(time, output)
    if at.size != 1:
        raise RunError(f"bump test: two points tell something of one step, and the output makes "
                       f"{at.size}; fit by least squares")
    before = float(value[time <= at[0]].mean())
    last = float(value[-max(1, round(SETTLED * value.size)):].mean())
    share = (value - before) / _moved(last - before)
    early, late = (_first(time, share, level) - at[0] for level in LEVELS)
    lag = 1.5 * (late - early)
    if lag <= 0.0:
        raise RunError(f"bump test: the value jumps from 28.3 to 63.2 % of its answer "
                       f"within a sample, {late:.4g} s after the step; record more often")
    return TwoPoint(FirstOrder((last - before) / float(by[0]), lag, max(late - lag, 0.0)),
                    early, late)


def fit_first_order(time: Array, value: Array, output: Array) -> Fit:
    """K, τ, θ and the starting value that leave the least sum of squares.

    Raises RunError for records that are too short, out of order, or without a move.
    """
    time, value, output = _checked(time, value, output)
    duration = float(time[-1] - time[0])

    def model(p: Array) -> FirstOrder:
        return FirstOrder(p[0], p[1], p[2])

    starts = [(lag * duration, dead * duration)
              for lag in GUESSES for dead in (0.0, *GUESSES[:-2])]
    return _fitted(model, ("gain", "lag", "dead_time"), starts, time, value, output)


def fit_second_order(time: Array, value: Array, output: Array) -> Fit:
    """K, τ₁, τ₂, θ and the starting value that leave the least sum of squares.

    Raises RunError as `fit_first_order`.
    """
    time, value, output = _checked(time, value, output)
    plain = fit_first_order(time, value, output).process
    whole = plain.lag + plain.dead_time

    def model(p: Array) -> SecondOrder:
        return SecondOrder(p[0], max(p[1], p[2]), min(p[1], p[2]), p[3])

    starts = [(first * whole, second * whole, dead * whole) for first in (0.3, 0.5, 0.8)
              for second in (0.05, 0.2, 0.4) for dead in (0.0, 0.1, 0.3)]
    return _fitted(model, ("gain", "lag", "second_lag", "dead_time"), starts, time, value, output)


def relay(time: Array, value: Array, output: Array, hysteresis: float = 0.0) -> Ultimate:
    """Ku = 4d/(π√(a² − ε²)), Pu the mean period; d and a half the swing of output and value, ε half
    the hysteresis.

    An estimate: it takes the swing for a sine. On a lag of one to five dead times Ku is 11 to 17 %
    low. Åström & Hägglund, Advanced PID Control (2006); from memory. Raises RunError where fewer
    than three whole periods are seen, where they are not even, or where the value swings by no more
    than the hysteresis.
    """
    time, value, output = _checked(time, value, output)
    middle = 0.5 * (output.max() + output.min())
    up = np.flatnonzero((output[:-1] < middle) & (output[1:] >= middle)) + 1
    if up.size <= LEAST_SWINGS:
        raise RunError(f"relay test: {max(up.size - 1, 0)} whole periods seen, at least "
                       f"{LEAST_SWINGS} are needed; let it run longer")
    up = up[-LEAST_SWINGS - 1:]
    _check_even(np.diff(up), np.diff(time[up]))
    pieces = [value[i:j] for i, j in pairwise(up)]
    swing = float(np.mean([0.5 * np.ptp(piece) for piece in pieces]))
    if swing <= abs(hysteresis):
        raise RunError(f"relay test: the value swings by ±{swing:.4g} and the hysteresis is "
                       f"±{abs(hysteresis):.4g}; a larger relay amplitude is needed")
    relay_swing = 0.5 * float(np.ptp(output[up[0]:up[-1]]))
    return Ultimate(4.0 * relay_swing / (pi * sqrt(swing**2 - hysteresis**2)),
                    float(time[up[-1]] - time[up[0]]) / LEAST_SWINGS)


def _fitted(model: Callable[[Array], FirstOrder | SecondOrder], names: tuple[str, ...],
            starts: Sequence[tuple[float, ...]], time: Array, value: Array, output: Array) -> Fit:
    """From the best of the starts, gain and starting value found for each by a straight line."""
    at, by = _steps(time, output)

    def answer(p: Array) -> Array:
        """(n,) Σ step_k·h(t − t_k)."""
        return np.asarray(by @ model(p).step(time - at[:, None]))

    def amiss(p: Array) -> Array:
        return p[-1] + answer(p[:-1]) - value

    found = []
    for shape in starts:
        unit = answer(np.array([1.0, *shape]))
        line, left, *_ = np.linalg.lstsq(np.column_stack([unit, np.ones_like(unit)]), value)
        if left.size:
            found.append((float(left[0]), np.array([line[0], *shape, line[1]])))
    if not found:
        raise RunError("bump test: the output moves too late for the value to answer it")
    first = min(found, key=lambda pair: pair[0])[1]
    tiny = 1e-6 * float(time[-1] - time[0])
    low = np.array([-np.inf, *[tiny] * (len(names) - 2), 0.0, -np.inf])
    scale = np.maximum(np.abs(first), [1e-9, *[tiny] * (len(names) - 1), 1e-3 * np.ptp(value)])
    best = least_squares(amiss, np.maximum(first, low), bounds=(low, np.inf), x_scale=scale,
                         xtol=1e-12, ftol=1e-12, gtol=1e-12)
    process = model(best.x)
    if process.gain == 0.0 or process.lag > 1e3 * (time[-1] - time[0]):
        raise RunError("bump test: the value does not come to rest in the time recorded; let the "
                       "test run longer")
    return Fit(process, dict(zip(names, _bands(best.jac, best.fun), strict=False)),
               float(best.x[-1]), float(np.sqrt(np.mean(best.fun**2))))


def _bands(jacobian: Array, left: Array) -> Array:
    """Half widths: t·√(s²(JᵀJ)⁻¹), s² = Σe²/(n − p). Textbooks; from memory."""
    free = left.size - jacobian.shape[1]
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * float(left @ left) / free
    return np.asarray(student.ppf(0.5 + 0.5 * CONFIDENCE, free) * np.sqrt(np.diag(covariance)))


def _checked(*columns: Array) -> tuple[Array, Array, Array]:
    """Time, value and output as arrays that belong together."""
    time, value, output = (np.asarray(column, dtype=float) for column in columns)
    if not time.shape == value.shape == output.shape or time.ndim != 1:
        raise RunError(f"test record: time has {time.size} samples, value {value.size}, output "
                       f"{output.size}; all three need as many")
    if time.size < LEAST_SAMPLES:
        raise RunError(f"test record: {time.size} samples, at least {LEAST_SAMPLES} are needed")
    for name, column in (("time", time), ("value", value), ("output", output)):
        if not np.isfinite(column).all():
            raise RunError(f"test record: {name} has no number at sample "
                           f"{int(np.flatnonzero(~np.isfinite(column))[0]) + 1}")
    if not (np.diff(time) > 0.0).all():
        k = int(np.flatnonzero(np.diff(time) <= 0.0)[0])
        raise RunError(f"test record: the time goes from {time[k]:.6g} to {time[k + 1]:.6g} s; it "
                       "must rise")
    return time, value, output


def _check_even(samples: Array, periods: Array) -> None:
    """Neither on its way to a swing nor chattering in noise."""
    if samples.min() < LEAST_SAMPLES or periods.max() > UNEVEN * periods.min():
        raise RunError(f"relay test: the last periods take {periods.min():.4g} to "
                       f"{periods.max():.4g} s and {samples.min()} samples or more, which is no "
                       "even swing; let it run longer, or, where noise switches the relay, give it "
                       "more hysteresis")


def _steps(time: Array, output: Array) -> tuple[Array, Array]:
    """(times, heights) of the output's moves."""
    by = np.diff(output)
    moves = np.flatnonzero(by) + 1
    if not moves.size:
        raise RunError("bump test: the output does not move")
    return time[moves], by[moves - 1]


def _moved(change: float) -> float:
    if change == 0.0:
        raise RunError("bump test: the value ends where it began, so no gain can be told")
    return change


def _first(time: Array, share: Array, level: float) -> float:
    """When the share first passes a level, by a straight line between samples."""
    k = int(np.argmax(share >= level))
    if share[k] < level or k == 0:
        raise RunError(f"bump test: the value does not pass {100.0 * level:g} % of its answer")
    part = (level - share[k - 1]) / (share[k] - share[k - 1])
    return float(time[k - 1] + part * (time[k] - time[k - 1]))
