"""What was recorded less what was simulated, for each signal: bias, RMS, largest, time shift."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from simfan.history import History
from simfan.trends.trend import Array, Trend

SHIFTS = 121
"""Time shifts tried, half of them to either side."""
WIDEST_SHARE, WIDEST_S = 0.1, 60.0
"""Longest shift that is looked for: of the time beside, and at most so long. Our choice; no
source."""
POINTS = 4000
"""Samples by which a shift is sought."""
BETTER = 0.9
"""A shift is told where it leaves at most so much of the RMS. Our choice; no source."""
PER_ELEMENT = "element_position of "


@dataclass(frozen=True)
class Difference:
    """Recorded less simulated, of one signal, at the trend's good samples."""

    signal: str
    """As the trend calls it."""
    kind: str
    """Kind of unit, for people."""
    unit: str
    """SI unit of the numbers."""
    samples: int
    """Compared [1]."""
    bias: float
    """Mean [`unit`]."""
    rms: float
    """Root mean square [`unit`]."""
    largest: float
    """Of the largest size [`unit`]."""
    largest_at_s: float
    """When [s]."""
    shift_s: float | None
    """How much later the plant did the same [s]; None where no shift makes it better."""
    reasons: dict[str, str]
    """Why a number is None, by its name."""


def differences(trend: Trend, run: History) -> tuple[Difference, ...]:
    """Of every signal that both have, over the time that both have."""
    return tuple(_all(trend, run))


def simulated(run: History, signal: str) -> Array | None:
    """A signal of the trend in the run (n_samples,); None where the run has none."""
    if signal.startswith(PER_ELEMENT):
        element = signal.removeprefix(PER_ELEMENT)
        known = element in run.items["element"]
        return run.trace("element_position", element) if known else None
    if signal == "volume_pressure":
        return run.trace("node_pressure", "volume") - run.trace("node_pressure", "ambient")
    return run.trace(signal) if signal in run.traces else None


def told_as(signal: str, run: History) -> tuple[str, str]:
    """(kind of unit, SI unit) of a trend's signal."""
    from simfan.signals import SIGNALS

    if signal == "volume_pressure":
        return "pressure", "Pa"
    name = "element_position" if signal.startswith(PER_ELEMENT) else signal
    kind = SIGNALS[name].kind
    return (run.facts.held_kind if kind == "held" else kind), run.unit(name)


def _all(trend: Trend, run: History) -> Iterator[Difference]:
    end = int(np.searchsorted(trend.time, run.time[-1] + 1e-9, side="right"))
    for signal, values in trend.signals.items():
        other = simulated(run, signal)
        both = trend.good[signal][:end]
        if other is None or np.count_nonzero(both) < 2:
            continue
        time, recorded = trend.time[:end][both], values[:end][both]
        apart = recorded - np.interp(time, run.time, other)
        k = int(np.argmax(np.abs(apart)))
        shift, why = _shift(time, recorded, run.time, other)
        kind, unit = told_as(signal, run)
        yield Difference(
            signal=signal, kind=kind, unit=unit, samples=len(time), bias=float(apart.mean()),
            rms=float(np.sqrt(np.mean(apart**2))), largest=float(apart[k]),
            largest_at_s=float(time[k]), shift_s=shift,
            reasons={} if shift is not None else {"shift_s": why})


def _shift(time: Array, recorded: Array, at: Array, other: Array) -> tuple[float | None, str]:
    """The shift with the least spread of the difference [s], between those tried by a parabola."""
    if np.ptp(recorded) == 0.0 or np.ptp(other) == 0.0:
        return None, "it stands still, in the trend or in the run"
    every = max(1, len(time) // POINTS)
    time, recorded = time[::every], recorded[::every]
    widest = min(WIDEST_SHARE * float(time[-1] - time[0]), WIDEST_S)
    tried = np.linspace(-widest, widest, SHIFTS)
    inside = (time >= time[0] + widest) & (time <= time[-1] - widest)
    spread = np.array([np.std(recorded[inside] - np.interp(time[inside] - s, at, other))
                       for s in tried])
    k = int(np.argmin(spread))
    here = float(spread[SHIFTS // 2])
    if here == 0.0 or k == SHIFTS // 2:
        return 0.0, ""
    if k in (0, SHIFTS - 1):
        return None, f"it fits no better within {widest:.3g} s to either side"
    if spread[k] > BETTER * here:
        return None, "no shift makes it fit much better"
    return float(tried[k] + _vertex(spread[k - 1 : k + 2]) * (tried[1] - tried[0])), ""


def _vertex(three: Array) -> float:
    """Where the parabola through three equally spaced values is lowest, from the middle one [1]."""
    curved = float(three[0] - 2.0 * three[1] + three[2])
    return 0.5 * float(three[0] - three[2]) / curved if curved > 0.0 else 0.0
