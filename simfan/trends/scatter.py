"""How much a reading scatters from sample to sample, and which setpoint changes that hides."""

import numpy as np

from simfan.metrics import Change
from simfan.metrics.noise import TIMES, band, unanswered
from simfan.signals import HELD_UNITS
from simfan.trends.room import finite, median, steps

Array = np.ndarray
NORMAL = 0.6745
"""Median of the size of a normal number, in standard deviations; textbook value."""


def scatter(values: Array) -> float:
    """Standard deviation of white noise on a smooth signal, in its unit, by second differences.

    σ = median|x₋₁ − 2x₀ + x₊₁|/(0.6745·√6): a straight line gives zero, white noise of σ gives
    √6·σ, and the median leaves steps out. 0 where there are not five good samples.
    """
    if sum(map(len, finite(values))) < 5:
        return 0.0
    middle = median(lambda: (np.abs(second) for second in steps(steps(finite(values)))))
    return float(middle / (NORMAL * np.sqrt(6.0)))


def hidden(changes: tuple[Change, ...], sigma: float) -> tuple[tuple[Change, ...], str]:
    """The changes without an answer where the scatter is as wide as their settling band, and why;
    "" where there is none."""
    unseen = [c for c in changes if _is_hidden(c, sigma)]
    if not unseen:
        return changes, ""
    unit = HELD_UNITS[unseen[0].held_kind]
    least = min(map(band, unseen))
    why = (f"the reading scatters by {sigma:.3g} {unit} (standard deviation) and the settling band "
           f"is ±{least:.3g} {unit}: overshoot and settling would be of the noise, not of the loop")
    return tuple(unanswered(c, why) if _is_hidden(c, sigma) else c
                 for c in changes), f"{why} ({len(unseen)} of {len(changes)} setpoint changes)"


def _is_hidden(change: Change, sigma: float) -> bool:
    return change.overshoot_percent is not None and TIMES * sigma > band(change)
