"""What a trend's sampling and damping can show of surge, and what it would take.

A swing of the period T, sampled every Δt, is seen with cos(π·Δt/T) of its size at the worst; a
first-order lag τ leaves 1/√(1 + (2π·τ/T)²) of it. Surge swings in the plant's natural period or up
to three and a half times slower, see `validation`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, pi, sqrt

import numpy as np

from simfan.trends.room import finite, median, parts, slices, steps
from simfan.trends.trend import Array, Trend

PER_SWING = 4.0
"""Fewest samples in a swing that is counted: at the worst it is seen with cos 45°, 71 % of its
size. Our choice; no source."""
ROUNDING = 1e-6
HALF, HELD_SHARE = 0.5, 0.9
"""A signal that repeats its value in more than so many samples was read more slowly than it was
written: the flow, in whose repeats a swing hides; any other. Our choice; no source."""


@dataclass(frozen=True)
class Sampling:
    """How finely the flow was recorded, held against how fast the plant surges."""

    interval_s: float
    """Usual time between two samples [s]."""
    longest_s: float
    """Longest between two samples that is no gap [s]."""
    flow_interval_s: float | None
    """Between two new values of the fan's flow [s]; None where no flow was recorded."""
    lag_s: float
    """Of the transmitter whose reading stands for the flow [s]; 0 where that is not known."""
    period_s: float | None
    """Shortest in which the plant surges, 2π/ω_H [s]; None where it is not known."""
    seen: float | None
    """Share of a swing of that period which the trend shows at the worst [1]."""
    smallest_swing: float | None
    """Smallest swing of the fan's flow that would be counted as surge [m³/s]."""
    largest_interval_s: float | None
    """Longest time between samples that can show surge [s]."""
    largest_lag_s: float | None
    """Longest lag that can show it, sampled so [s]."""
    blind: str
    """Why surge cannot be seen; "" where it can."""

    @property
    def too_coarse(self) -> bool:
        """Whether a swing has fewer samples than count."""
        return (self.flow_interval_s is not None and self.largest_interval_s is not None
                and self.flow_interval_s > self.largest_interval_s * (1.0 + ROUNDING))


def sampled(interval_s: float, period_s: float) -> float:
    """cos(π·Δt/T), share of a swing's size that samples show at the worst [1]; 0 beyond T/2."""
    return cos(pi * interval_s / period_s) if 2.0 * interval_s < period_s else 0.0


def damped(lag_s: float, period_s: float) -> float:
    """1/√(1 + (2π·τ/T)²), share of a swing's size behind a first-order lag [1]."""
    return 1.0 / sqrt(1.0 + (2.0 * pi * lag_s / period_s) ** 2)


def sampling(trend: Trend, flow: Array | None, lag_s: float, period_s: float | None,
             stall_flow: float | None, swing: float) -> Sampling:
    """What the trend can show; `swing` [m³/s] is the smallest that counts as surge at the fan.

    Surge can be seen where a swing as large as the flow at stall, a deep surge's is larger, would
    still be counted.
    """
    longest = max((float(np.max(step, where=step <= trend.longest_interval_s, initial=-np.inf))
                   for step in steps(parts(trend.time))), default=-np.inf)
    longest = longest if longest > 0.0 else trend.interval_s
    new = None if flow is None else _new_value(trend, flow)
    if period_s is None or stall_flow is None or new is None or flow is None:
        return Sampling(trend.interval_s, longest, new, lag_s, period_s, None, None, None, None, "")
    share = sampled(new, period_s) * damped(lag_s, period_s)
    most = period_s / PER_SWING
    lag = _largest_lag(min(new, most), period_s, swing / stall_flow)
    return Sampling(
        trend.interval_s, longest, new, lag_s, period_s, share,
        swing / share if share > 0.0 else None, most, lag,
        _blind(new, lag_s, period_s, share * stall_flow >= swing, lag))


def _largest_lag(interval_s: float, period_s: float, least: float) -> float:
    """Longest lag that leaves `least` of a swing, sampled so [s]; 0 where none does."""
    room = (sampled(interval_s, period_s) / least) ** 2 - 1.0
    return period_s / (2.0 * pi) * sqrt(room) if room > 0.0 else 0.0


def _blind(interval_s: float, lag_s: float, period_s: float, is_large: bool, lag: float) -> str:
    """Why surge cannot be seen, and what it would take."""
    most = period_s / PER_SWING
    swings = f"a surge of this plant may swing in {period_s:.2g} s"
    if interval_s > most * (1.0 + ROUNDING):
        return (f"the flow has a new value every {interval_s:.3g} s, and {swings}: it takes one "
                f"every {most:.2g} s, {PER_SWING:g} in a swing")
    if not is_large:
        return (f"the flow's transmitter lags by {lag_s:.3g} s, and {swings}: that leaves "
                f"{100.0 * damped(lag_s, period_s):.2g} % of it; it takes a lag of {lag:.2g} s at "
                "most")
    return ""


def _new_value(trend: Trend, values: Array) -> float:
    """Usual time between two new values [s]: longer than between samples where each is repeated."""
    count, share = _repeated(trend, values)
    if count < 3 or share < HALF:
        return trend.interval_s
    return max(_between(trend, values), trend.interval_s)


def held(trend: Trend, scan_s: float) -> list[str]:
    """Signals that are new far more seldom than they are sampled, and than the controller looks;
    each with a word on what that may mean."""
    said = []
    for name, values in trend.signals.items():
        count, share = _repeated(trend, values)
        if name == "setpoint" or count < 3 or share <= HELD_SHARE:
            continue
        between = _between(trend, values)
        if between > 2.0 * scan_s:
            said.append(f"{name} has a new value every {between:.3g} s, though there is a sample "
                        f"every {trend.interval_s:.3g} s: kept on change, with a dead band, or "
                        "read slowly; what is smaller or quicker is not in the trend")
    return said


def _repeated(trend: Trend, values: Array) -> tuple[int, float]:
    """(how many new values came, share of the samples that repeat the one before)."""
    count = sum(map(len, _news(trend, values)))
    return count, 1.0 - count / max(sum(map(len, finite(values))) - 1, 1)


def _between(trend: Trend, values: Array) -> float:
    """Usual time from one new value to the next [s]."""
    return median(lambda: steps(_news(trend, values)))


def _news(trend: Trend, values: Array) -> Iterator[Array]:
    """Times at which a value was new [s], block by block."""
    before = np.empty(0)
    for rows in slices(len(values)):
        good = np.isfinite(values[rows])
        now = np.concatenate([before, values[rows][good]])
        yield trend.time[rows][good][1 - len(before):][np.diff(now) != 0.0]
        before = now[-1:]
