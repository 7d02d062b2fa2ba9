"""A PID's tuning in its three forms, and the way from one to another.

    standard   CO = Kc·(e + 1/Ti·∫e dt + Td·de/dt)
    series     CO = K·(1 + 1/(Ti·p))·(1 + Td·p)·e
    parallel   CO = Kp·e + Ki·∫e dt + Kd·de/dt

Formulas as in every textbook on the subject; from memory.
"""

from math import sqrt
from typing import NamedTuple


class Standard(NamedTuple):
    """Gain of all three parts, integral and derivative time [s]."""

    gain: float
    reset: float
    derivative: float = 0.0


class Series(NamedTuple):
    """A PI and a PD one behind the other; times in [s]."""

    gain: float
    reset: float
    derivative: float = 0.0


class Parallel(NamedTuple):
    """Three parts side by side: gain, integral gain [1/s], derivative gain [s]."""

    gain: float
    integral_gain: float
    derivative_gain: float = 0.0


def from_series(series: Series) -> Standard:
    """Kc = K·(Ti + Td)/Ti, Ti' = Ti + Td, Td' = Ti·Td/(Ti + Td)."""
    both = series.reset + series.derivative
    return Standard(series.gain * both / series.reset, both,
                    series.reset * series.derivative / both)


def to_series(standard: Standard) -> Series:
    """The inverse of `from_series`. Raises ValueError where Ti < 4·Td: its zeros are complex."""
    gain, reset, derivative = standard
    if reset < 4.0 * derivative:
        raise ValueError(f"a reset of {reset:g} s is less than four times the derivative time of "
                         f"{derivative:g} s: such a tuning has no series form")
    root = sqrt(1.0 - 4.0 * derivative / reset)
    return Series(0.5 * gain * (1.0 + root), 0.5 * reset * (1.0 + root),
                  0.5 * reset * (1.0 - root))


def from_parallel(parallel: Parallel) -> Standard:
    """Kc = Kp, Ti = Kp/Ki, Td = Kd/Kp."""
    return Standard(parallel.gain, parallel.gain / parallel.integral_gain,
                    parallel.derivative_gain / parallel.gain)


def to_parallel(standard: Standard) -> Parallel:
    """Kp = Kc, Ki = Kc/Ti, Kd = Kc·Td."""
    return Parallel(standard.gain, standard.gain / standard.reset,
                    standard.gain * standard.derivative)


def from_band(proportional_band: float) -> float:
    """Gain of a proportional band, a fraction: 1/PB."""
    return 1.0 / proportional_band


def from_repeats(repeats: float) -> float:
    """Integral time [s] of a number of repeats a second [1/s]: 1/repeats."""
    return 1.0 / repeats
