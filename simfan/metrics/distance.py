"""How far a run stays from each limit of the scenario's criteria, as one signed number.

Above zero there is room, below zero the requirement is missed, exactly where `misses` says so; so a
search has a slope where a verdict has none. Distances are those of temporal logic over signals:

    always g(t) ≥ 0                     min g over the run
    eventually g(t) ≥ 0 within T        max g over t ≤ T
    settles: always g(t) ≥ 0 after T    min g over t ≥ T

each divided by the limit's own size. Overshoot and settling are shares of the judged step, so that
a move of next to nothing has its room. What is no signal through time (a sum of seconds, a number
of cycles) counts as (limit − value)/limit.

Source: robustness of temporal logic over real-valued signals, Donzé and Maler 2010; from memory.
"""

from collections.abc import Callable, Iterator

import numpy as np

from simfan.history import History, SetpointChange
from simfan.metrics import surge
from simfan.metrics.columns import Array, clock, column
from simfan.metrics.in_operation import in_operation
from simfan.metrics.tracking import STAY_SHARE, arrival, judged_step, scaled, window
from simfan.plant.case import Criteria
from simfan.stress_answer import Requirement

NOTHING_TO_JUDGE = 1.0
"""Of a run without a step, or without a stall line: nothing to come near to."""
RATHER_PA = 1000.0
"""Size of a limit of pressure that is zero [Pa]. An assumption."""
LEFT_OF_LINE = 0.1
"""Room to surge where the flow just reaches the stall line; what is left of the line without
surging has less. An assumption: it only ranks runs that do not surge."""


def always(g: Array) -> float:
    """min g: how well "g(t) ≥ 0 throughout" is kept."""
    return float(np.min(g))


def eventually(time: Array, g: Array, until: float) -> float:
    """max g over t ≤ until: how well "g(t) ≥ 0 at some time by then" is kept."""
    last = int(np.searchsorted(time, until, side="right"))
    at_end = np.interp(until, time, g)
    return float(max(np.max(g[:last], initial=at_end), at_end))


def settles(time: Array, g: Array, since: float) -> float:
    """min g over t ≥ since: how well "g(t) ≥ 0 from then on" is kept."""
    first = int(np.searchsorted(time, since, side="left"))
    at_begin = np.interp(since, time, g)
    return float(min(np.min(g[first:], initial=at_begin), at_begin))


def requirements(criteria: Criteria, max_safe_speed_ratio: float) -> tuple[Requirement, ...]:
    """What is asked for, in the order of the scenario's keys; a criterion left out is not."""
    speed = max_safe_speed_ratio if criteria.speed is None else criteria.speed
    asked = (
        ("time_outside_band", criteria.time_outside_band, "s", 1.0, "most"),
        ("overshoot", criteria.overshoot, "%", 100.0, "most"),
        ("settling_time", criteria.settling_time, "s", 1.0, "most"),
        ("stall_margin", criteria.stall_margin, "%", 100.0, "least"),
        ("surge_cycles", criteria.surge_cycles, "", 1.0, "most"),
        ("motor_load", criteria.motor_load, "%", 100.0, "most"),
        ("speed", speed, "%", 100.0, "most"),
        ("highest_pressure", criteria.highest_pressure, "Pa", 1.0, "most"),
        ("lowest_pressure", criteria.lowest_pressure, "Pa", 1.0, "least"),
    )
    return tuple(Requirement(name, factor * limit, unit, at)
                 for name, limit, unit, factor, at in asked if limit is not None)


def distances(history: History, criteria: Criteria) -> Array:
    """(m,) signed distances, one for each of `requirements`. The run must be complete."""
    asked = requirements(criteria, history.facts.max_safe_speed_ratio)
    run = in_operation(history, criteria)
    return np.array([DISTANCE[r.name](run, criteria, as_si(r)) for r in asked])


def as_si(requirement: Requirement) -> float:
    """The limit as a share, or in SI."""
    return requirement.limit / (100.0 if requirement.unit == "%" else 1.0)


def size(limit: float, otherwise: float = 1.0) -> float:
    """What a distance to the limit is divided by: `otherwise` for a limit of nothing."""
    return abs(limit) or otherwise


def _outside(history: History, criteria: Criteria, limit: float) -> float:
    from simfan.metrics.tracking import tracking

    found = tracking(history, criteria.band).whole.time_outside_band_s
    assert found is not None  # of a run
    return (limit - found) / size(limit)


def _answers(history: History, criteria: Criteria
             ) -> Iterator[tuple[SetpointChange, Array, Array]]:
    """(change, time [s], how far beyond its end [of the judged step]) of each change that can be
    judged."""
    time, actual = clock(history), column(history, "true_value")
    scale = scaled(history, column(history, "setpoint"), criteria.band)
    for change in history.facts.changes:
        last = change.until_s >= history.facts.duration_s
        part = window(time, change.at_s, change.until_s, last)
        if change.start != change.end and part.stop - part.start >= 2:
            way = np.sign(change.end - change.start) / judged_step(change, scale)
            yield change, time[part], (actual[part] - change.end) * way


def _overshoot(history: History, criteria: Criteria, limit: float) -> float:
    """Of the limit, or of the band where that is more: a limit of nothing has no size."""
    room = [limit - float(np.max(beyond)) for _, _, beyond in _answers(history, criteria)]
    return min(room) / max(limit, criteria.band) if room else NOTHING_TO_JUDGE


def _settling(history: History, criteria: Criteria, limit: float) -> float:
    """The room in the band, of its half width, from the time allowed on; the end of the window is
    judged in any case, as long as a value must stay to have settled."""
    found = []
    for change, time, beyond in _answers(history, criteria):
        stay = STAY_SHARE * float(time[-1] - time[0])
        since = min(arrival(change) + limit, float(time[-1]) - stay)
        found.append(settles(time, 1.0 - np.abs(beyond) / criteria.band, since))
    return min(found, default=NOTHING_TO_JUDGE)


def over_stall(history: History) -> Array | None:
    """Q/Q_stall of all fans wherever there is a line; None where there is none at all."""
    flow, stall = history.traces["fan_flow"], history.traces["stall_flow"]
    lined = np.isfinite(stall)
    return flow[lined] / stall[lined] if lined.any() else None


def _margin(history: History, criteria: Criteria, limit: float) -> float:
    """(Q − Q_stall)/Q ≥ m is Q/Q_stall·(1 − m) − 1 ≥ 0, which stays finite as Q falls to zero."""
    ratio = over_stall(history)
    return NOTHING_TO_JUDGE if ratio is None else always(ratio * (1.0 - limit) - 1.0)


def _surge(history: History, criteria: Criteria, limit: float) -> float:
    """(most − cycles)/most where there are more; with none, how far right of the line it stayed."""
    flow, ratio = surge.stall_flow(history), over_stall(history)
    if flow is None or ratio is None:
        return NOTHING_TO_JUDGE
    swing = criteria.surge_swing * flow
    cycles = max(surge.find(history, fan, swing).cycles for fan in range(len(history.items["fan"])))
    return to_surge(cycles, limit, always(ratio))


def to_surge(cycles: int, limit: float, least: float) -> float:
    """Of so many cycles, the least Q/Q_stall beside them."""
    if cycles > limit:
        return (limit - cycles) / max(limit, 1.0)
    if cycles:
        return 0.0
    right = least - 1.0
    return LEFT_OF_LINE + right if right > 0.0 else LEFT_OF_LINE * max(0.0, 1.0 + right)


def _load(history: History, criteria: Criteria, limit: float) -> float:
    return always(limit - history.traces["motor_load"]) / size(limit)


def _speed(history: History, criteria: Criteria, limit: float) -> float:
    return always(limit - np.abs(history.traces["speed_ratio"])) / size(limit)


def gauge(history: History) -> Array:
    """(n_samples,) pressure of the volume against the air around it [Pa]."""
    return history.trace("node_pressure", "volume") - history.trace("node_pressure", "ambient")


def _highest(history: History, criteria: Criteria, limit: float) -> float:
    return always(limit - gauge(history)) / size(limit, RATHER_PA)


def _lowest(history: History, criteria: Criteria, limit: float) -> float:
    return always(gauge(history) - limit) / size(limit, RATHER_PA)


DISTANCE: dict[str, Callable[[History, Criteria, float], float]] = {
    "time_outside_band": _outside, "overshoot": _overshoot, "settling_time": _settling,
    "stall_margin": _margin, "surge_cycles": _surge, "motor_load": _load, "speed": _speed,
    "highest_pressure": _highest, "lowest_pressure": _lowest,
}
"""Key in the scenario's criteria → distance of a history in operation from a limit in SI."""
