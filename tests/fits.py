"""Trends for the tests of fitting: a simulated plant whose numbers are known, as a historian would
have it."""

from collections.abc import Mapping, Sequence

import numpy as np

from simfan import api
from simfan.history import History
from simfan.plant.case import Case
from simfan.plant.quantities import FROM_FILE
from simfan.scenario import written
from simfan.trends.trend import Trend
from tests.plants import plain

MEASURED = ("measured_value", "volume_pressure")
INPUTS = ("setpoint", "controller_output")
SHARE = 0.01
"""Noise, of a signal's swing."""


def moved(name: str = "speed", duration: float = 90.0) -> Case:
    """Fan B in automatic, its setpoint down and up again; one strategy."""
    case = plain(run={"duration": duration, "starts_at": 42.0, "step": 1 / 32, "record": 0.25},
                 timeline=[{"at": 5.0, "setpoint": 34.0}, {"at": 45.0, "setpoint": 40.0}])
    return case.model_copy(update={"strategies": {name: case.strategies[name]}})


def other(case: Case, values: Mapping[str, float]) -> Case:
    """The case with other numbers, by path [SI]."""
    tables = written.tables(case)
    for path, value in values.items():
        *keys, last = path.split(".")
        here = tables
        for key in keys:
            here = here.setdefault(key, {})
        kind = KINDS.get(last)
        here[last] = written.quantity(value, kind) if kind else value
    return Case.model_validate(tables, context=FROM_FILE)


KINDS = {"volume": "volume", "pressure": "pressure", "fixed_pressure": "pressure", "lag": "time",
         "ramp_up": "time", "ramp_down": "time", "stroke_time": "time", "area": "area"}


def recorded(run: History, every: float = 0.25, signals: Sequence[str] = MEASURED,
             noise: float = SHARE, seed: int = 0, memory: float = 0.0) -> Trend:
    """The run as a trend, with normal noise on what was measured; with `memory` each sample keeps
    so much of its neighbour's noise (a first-order autoregression)."""
    rows = slice(None, None, round(every / run.facts.record_s))
    time = run.time[rows]
    found = {name: column(run, name)[rows].copy() for name in (*INPUTS, *signals)}
    random = np.random.default_rng(seed)
    for name in signals:
        swing = float(np.ptp(found[name]))
        found[name] += noise * swing * _normal(random, time.size, memory)
    return Trend("trend.csv", time, found, {k: np.isfinite(v) for k, v in found.items()}, (), (),
                 every, 5.0 * every)


def column(run: History, name: str) -> np.ndarray:
    """A trend's signal of a run."""
    if name == "volume_pressure":
        return np.asarray(run.trace("node_pressure", "volume") - run.trace("node_pressure",
                                                                          "ambient"))
    if name.startswith("element_position of "):
        return run.trace("element_position", name.removeprefix("element_position of "))
    return run.trace(name)


def _normal(random: np.random.Generator, n: int, memory: float) -> np.ndarray:
    white = random.standard_normal(n)
    if not memory:
        return white
    made = np.empty(n)
    made[0] = white[0]
    for k in range(1, n):
        made[k] = memory * made[k - 1] + np.sqrt(1.0 - memory**2) * white[k]
    return made


def ran(case: Case, name: str = "speed") -> History:
    """One run."""
    return api.run(case, name)
