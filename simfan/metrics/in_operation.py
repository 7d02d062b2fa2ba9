"""The part of a run that is judged as operation: the motor on, the loop released.

While a fan runs up or down its loop holds nothing, its stall line tells nothing, and a motor on the
line takes a multiple of its load; a start is judged by the heat of the rotor instead. What stalls
or surges then is no excursion of the control strategy: it is counted, but apart.
"""

from dataclasses import replace

import numpy as np

from simfan.history import Carried, History
from simfan.metrics.columns import Array
from simfan.plant.case import Criteria

JUDGED, OFF, STARTING = 0, 1, 2
WHEN = {OFF: "while the motor was off", STARTING: "during a start or a stop"}
"""In which part of a run a sample lies, and how the others are called."""


def in_operation(history: History, criteria: Criteria) -> History:
    """The same run with what start, stop and trip do taken out: no stall line, no motor load; while
    a procedure holds the loop, no error of it."""
    judged = phases(history, criteria) == JUDGED
    run = only(history, judged)
    if not history.facts.procedures:
        return run
    setpoint = history.traces["setpoint"].copy()
    setpoint[~judged] = history.traces["true_value"][~judged]
    return replace(run, traces={**run.traces, "setpoint": setpoint})


def only(history: History, inside: Array) -> History:
    """The run with a stall line and a motor load only there."""
    if inside.all():
        return history
    stall, load = history.traces["stall_flow"].copy(), history.traces["motor_load"].copy()
    stall[~inside], load[~inside] = np.nan, 0.0
    return replace(history, traces={**history.traces, "stall_flow": stall, "motor_load": load})


def phases(history: History, criteria: Criteria) -> Array:
    """(n_samples,) JUDGED, OFF where a motor is without supply, or STARTING: while a procedure
    holds the loop, and for `bypass_at_start` after a motor is switched on.

    A motor on its supply draws power at any load; where a run never tells power, it counts as on.
    """
    time, power = history.time, history.traces["electrical_power"]
    on = np.all(power > 0.0, axis=1) if np.any(power > 0.0) or history.facts.procedures \
        else np.ones(time.size, dtype=bool)
    found = np.where(on, JUDGED, OFF)
    for begin, end in (*_held(history), *_bypassed(time, on, criteria.bypass_at_start)):
        found[on & (time >= begin) & (time < end)] = STARTING
    return found


def _held(history: History) -> list[tuple[float, float]]:
    """Spans in which a procedure holds the loop [s]."""
    return [(carried.begun_s, _released(carried)) for carried in history.facts.procedures]


def _released(carried: Carried) -> float:
    """When the loop is free again [s]."""
    if carried.released_s is not None:
        return carried.released_s
    return float("inf") if carried.ended_s is None else carried.ended_s


def _bypassed(time: Array, on: Array, lasts: float | None) -> list[tuple[float, float]]:
    """Spans after each switching on [s]."""
    starts = time[1:][on[1:] & ~on[:-1]]
    return [(float(t), float(t) + lasts) for t in starts] if lasts else []
