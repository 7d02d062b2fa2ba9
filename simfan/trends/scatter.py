"""How much a reading scatters from sample to sample, and which setpoint changes that hides."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from simfan.metrics import Change
from simfan.signals import HELD_UNITS

Array = np.ndarray
TIMES = 4.0
"""Scatter that a band must exceed so many times; of normal noise one sample in 16 000 lies beyond.
Our choice; no source."""
NORMAL = 0.6745
"""Median of the size of a normal number, in standard deviations; textbook value."""
ANSWER = ("overshoot_percent", "undershoot_percent", "rise_time_s", "settling_time_s")


def scatter(values: Array) -> float:
    """Standard deviation of white noise on a smooth signal, in its unit, by second differences.

    σ = median|x₋₁ − 2x₀ + x₊₁|/(0.6745·√6): a straight line gives zero, white noise of σ gives
    √6·σ, and the median leaves steps out. 0 where there are not five good samples.
    """
    good = values[np.isfinite(values)]
    if len(good) < 5:
        return 0.0
    return float(np.median(np.abs(np.diff(good, 2))) / (NORMAL * np.sqrt(6.0)))


def hidden(changes: tuple[Change, ...], sigma: float) -> tuple[tuple[Change, ...], str]:
    """The changes without an answer where the scatter is as wide as their settling band, and why;
    "" where there is none."""
    unseen = [c for c in changes if c.overshoot_percent is not None
              and TIMES * sigma > 0.01 * c.settling_band_percent * c.judged_step]
    if not unseen:
        return changes, ""
    unit = HELD_UNITS[unseen[0].held_kind]
    band = min(0.01 * c.settling_band_percent * c.judged_step for c in unseen)
    why = (f"the reading scatters by {sigma:.3g} {unit} (standard deviation) and the settling band "
           f"is ±{band:.3g} {unit}: overshoot and settling would be of the noise, not of the loop")
    none: dict[str, Any] = dict.fromkeys(ANSWER)
    reasons: Mapping[str, str] = dict.fromkeys(ANSWER, why)
    return tuple(replace(c, **none, reasons={**c.reasons, **reasons}) if c in unseen else c
                 for c in changes), f"{why} ({len(unseen)} of {len(changes)} setpoint changes)"
