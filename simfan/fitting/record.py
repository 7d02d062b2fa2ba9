"""A trend as the fit takes it: what drives the model, and what is compared, with its noise."""

from dataclasses import dataclass

import numpy as np

from simfan.errors import RunError
from simfan.fitting.noise import noise
from simfan.plant.case import Case
from simfan.signals import SIGNALS
from simfan.trends.trend import Trend

Array = np.ndarray
VOLUME_PRESSURE = "volume_pressure"
ELEMENT = "element_position of "

FEWEST = 20
"""Samples of a trend."""
MOST = 20_000
"""Samples of a signal that are compared; of more, every so many."""
MOST_SCANS = 200_000
"""Of a trend: the model runs through it many times."""
INPUTS = ("setpoint", "controller_output")
NOT_COMPARED = (*INPUTS, "stall_flow", "element_demand")
"""What nobody measures, or what drives the model."""
FIRST = 5
"""Samples of the output whose median is the resting one: a single one may be a kick of noise."""
JUMP = 0.1
"""Of the output's swing, from one sample to the next. An assumption."""
COARSE = 1.5
"""Scans; with a longer interval of samples inputs are taken on straight lines between them."""


@dataclass(frozen=True)
class Series:
    """One recorded signal that is compared. SI."""

    name: str
    """As the trend has it."""
    kind: str
    time: Array
    """(n,) of its good samples, from the start of the trend [s]."""
    value: Array
    """(n,)"""
    noise: float
    noise_from: str


@dataclass(frozen=True)
class Record:
    """What a fit needs of a trend. SI."""

    duration: float
    """Whole scans [s]."""
    interval: float
    """Median interval of the samples [s]."""
    setpoint: Array | None
    """(n_scans,) of the first loop."""
    output: Array | None
    """(n_scans,) of the controller."""
    resting: float | None
    """Controller output at which the plant is taken to rest at the start."""
    series: tuple[Series, ...]
    said: tuple[str, ...]
    """How it was read, where that is an assumption."""


def record(case: Case, trend: Trend, skip: float = 0.0) -> Record:
    """The trend on the case's scans.

    What was recorded before `skip` [s] drives the model and is not compared. Raises RunError, in
    words, where it is too short, or where there is nothing to compare.
    """
    time = np.asarray(trend.time, dtype=float)
    _check_time(time)
    if skip < 0.0:
        raise RunError(f"skip is {skip:g} s; allowed: 0 s or more")
    time = time - time[0]
    scan = case.control.scan
    scans = int(np.floor(time[-1] / scan + 1e-9)) + 1
    if scans > MOST_SCANS:
        raise RunError(f"the trend lasts {time[-1]:.6g} s, {scans:.6g} scans of {scan:g} s; at "
                       f"most {MOST_SCANS} can be fitted: cut out the part where the plant was "
                       "moved")
    grid = np.arange(scans) * scan
    interval = float(np.median(np.diff(time)))
    between = interval > COARSE * scan
    inputs = {name: _on_scans(name, time, trend.signals[name], grid, between)
              for name in INPUTS if name in trend.signals}
    within = (time <= grid[-1] + 1e-9) & (time >= skip)
    jumps = _beside_jumps(trend.signals.get("controller_output", trend.signals.get("setpoint"))
                          ) if between else np.zeros(time.size, dtype=bool)
    series = tuple(_series(case, name, time, np.asarray(value, dtype=float), within & ~jumps)
                   for name, value in trend.signals.items() if name not in NOT_COMPARED)
    if not series:
        raise RunError("the trend has nothing to compare with the model beside setpoint and "
                       "output: add the measured value, or a flow, pressure, speed or power")
    return Record(float(grid[-1]), interval, inputs.get("setpoint"),
                  inputs.get("controller_output"), _resting(trend), series,
                  (*_thinned(series, trend),
                   *_coarse(interval, scan, between and bool(inputs), int(jumps.sum()))))


def _resting(trend: Trend) -> float | None:
    output = trend.signals.get("controller_output")
    return None if output is None else float(np.median(output[np.isfinite(output)][:FIRST]))


def _beside_jumps(value: Array | None) -> Array:
    """(n,) the samples about and after a jump: when it came is known only to an interval."""
    if value is None:
        return np.zeros(0, dtype=bool)
    far = np.abs(np.diff(value)) > JUMP * np.ptp(value[np.isfinite(value)])
    beside = np.zeros(value.size, dtype=bool)
    for k in range(3):
        beside[k:][:far.size - max(0, k - 1)] |= far[:far.size - max(0, k - 1)]
    return beside


def _coarse(interval: float, scan: float, between: bool, jumps: int) -> list[str]:
    left = f"; {jumps} samples about its jumps were not compared" if jumps else ""
    return [f"setpoint and output go straight from sample to sample, {interval:.3g} s apart, "
            f"though the controller moves every {scan:g} s: what is quicker than the samples is "
            f"not known{left}"] if between else []


def _thinned(series: tuple[Series, ...], trend: Trend) -> list[str]:
    most = max(s.time.size for s in series)
    return [f"of {trend.time.size} samples some {most} of each signal are compared, evenly chosen"
            ] if trend.time.size > MOST else []


def _check_time(time: Array) -> None:
    if time.ndim != 1 or time.size < FEWEST:
        raise RunError(f"the trend has {time.size} samples; at least {FEWEST} are needed")
    if not np.isfinite(time).all() or not (np.diff(time) > 0.0).all():
        k = int(np.flatnonzero(~(np.diff(time) > 0.0))[0])
        raise RunError(f"the trend's time goes from {time[k]:.6g} to {time[k + 1]:.6g} s at sample "
                       f"{k + 2}; it must rise")


def _on_scans(name: str, time: Array, value: Array, grid: Array, between: bool) -> Array:
    """At every scan: the last good sample, or on the straight line between two."""
    good = np.isfinite(value)
    if good.sum() < 2:
        raise RunError(f"the trend's {name} has {int(good.sum())} good samples")
    t, y = time[good], value[good]
    if between:
        return np.interp(grid, t, y)
    return np.asarray(y[np.maximum(np.searchsorted(t, grid + 1e-9, side="right") - 1, 0)])


def _series(case: Case, name: str, time: Array, value: Array, compared: Array) -> Series:
    good = np.isfinite(value) & compared
    if good.sum() < FEWEST:
        raise RunError(f"the trend's {name} has {int(good.sum())} good samples to compare; at "
                       f"least {FEWEST} are needed")
    t, y = time[good], value[good]
    sigma, source = noise(t, y)
    stride = -(-t.size // MOST)
    return Series(name, kind_of(case, name), t[::stride], y[::stride], sigma, source)


def kind_of(case: Case, name: str) -> str:
    """Kind of unit of a trend's signal. RunError for a name that means nothing."""
    if name == VOLUME_PRESSURE:
        return "pressure"
    if name.startswith(ELEMENT):
        return "fraction"
    if name not in SIGNALS:
        raise RunError(f'the trend has "{name}", which is no signal of the model')
    kind = SIGNALS[name].kind
    return case.control.held_kind if kind == "held" else kind
