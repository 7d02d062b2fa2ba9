"""How far a run stays from a trip, a start that fails, a rotor too hot: what no criterion names and
yet decides, as signed numbers beside those of `distance`.

Below zero exactly where `interruptions` tells a miss. Of a row that trips, with g(t) the room of
what it watches and n scans that this must be beyond its limit:

    it trips where g < 0 in n scans on end, so      min over t of (max of g over n scans up to t)

over all scans in which the row looks at a motor that is on. Scans lie between the kernel's steps;
where their samples say otherwise than the run itself, the run is right.
"""

from collections.abc import Callable, Sequence
from itertools import accumulate
from math import ceil

import numpy as np
from scipy.ndimage import maximum_filter1d

from simfan.history import History
from simfan.metrics.columns import Array
from simfan.metrics.distance import NOTHING_TO_JUDGE, RATHER_PA, gauge, size, to_surge
from simfan.metrics.interrupted import interruptions
from simfan.plant.case import Case
from simfan.plant.protection import Protection
from simfan.stress_answer import Requirement

MISSED = -1.0
"""Of what was to be done and was not: it has no size."""
BARELY = 1e-6
"""Of a trip that no sample shows beyond its limit."""
ASKED = {"trips": Requirement("trips", 0.0, "", "most"),
         "procedures": Requirement("procedures", 0.0, "", "most"),
         "locked_rotor_time": Requirement("locked_rotor_time", 100.0, "%", "most")}
"""Criterion of a miss → what is asked for: no trip, no procedure that fails, no more heat of the
rotor than its maker allows."""


def asked(case: Case, strategy: str) -> tuple[Requirement, ...]:
    """What a case asks for beside its criteria: only what can be missed in a run of it."""
    motor, starts = case.motor, _may_start(case)
    stands = bool(case.procedures and case.procedures.start) and case.run.from_standstill
    on_line = case.strategies[strategy].speed is None
    may = {"trips": _may_trip(case), "procedures": starts or stands,
           "locked_rotor_time": starts and on_line and bool(
               motor.locked_rotor_time or motor.locked_rotor_time_cold)}
    return tuple(ASKED[name] for name, can in may.items() if can)


def _may_trip(case: Case) -> bool:
    return any(row.effect == "trip" for row in case.protection)


def _may_start(case: Case) -> bool:
    """Whether anything in a run can begin a start: an event, or a restart after a trip."""
    done = case.procedures
    return any(event.procedure == "start" for event in case.timeline) or (
        bool(done and done.restart) and _may_trip(case))


def distances(history: History, case: Case, strategy: str) -> Array:
    """(m,) signed distances, one for each that is `asked`. The run must be complete."""
    missed = {m.criterion for m in interruptions(history)}
    return np.array([DISTANCE[one.name](history, case, missed) for one in asked(case, strategy)])


def _trips(history: History, case: Case, missed: set[str]) -> float:
    room = min(_room(row, history, case) for row in case.protection if row.effect == "trip")
    return min(room, -BARELY) if "trips" in missed else max(room, 0.0)


def _procedures(history: History, case: Case, missed: set[str]) -> float:
    """1 − t/t_most of the slowest run-up; 1 without one."""
    if missed & {"procedures", "operation"}:
        return MISSED
    start = case.procedures and case.procedures.start
    took = [c.speed_after_s for c in history.facts.procedures if c.speed_after_s is not None]
    return max(0.0, 1.0 - max(took) / start.speed_within) if start and took else NOTHING_TO_JUDGE


def _rotor(history: History, case: Case, missed: set[str]) -> float:
    """1 − locked/allowed of the hottest start."""
    left = [c.margin_percent for c in history.facts.procedures if c.margin_percent is not None]
    return min(left, default=100.0 * NOTHING_TO_JUDGE) / 100.0


DISTANCE: dict[str, Callable[[History, Case, set[str]], float]] = {
    "trips": _trips, "procedures": _procedures, "locked_rotor_time": _rotor}
"""Criterion of a miss → distance of a history, beside what it misses."""


def _room(row: Protection, history: History, case: Case) -> float:
    """The least that a row leaves before it trips."""
    every = round(case.control.scan / history.facts.record_s)
    looks = _looks(row, history)[::every]
    if row.surge_cycles is not None:
        g = np.where(looks, _over_stall(history)[::every], np.inf)
        least = float(np.min(g))
        return to_surge(0, row.surge_cycles, least) if least < np.inf else NOTHING_TO_JUDGE
    g = np.where(looks, _left(row, history, every, case.control.scan), np.inf)
    scans = 1 if row.overload else max(1, ceil(row.after / case.control.scan - 1e-9))
    on_end = maximum_filter1d(g, scans, mode="constant", cval=np.inf)
    return min(float(np.min(on_end)), NOTHING_TO_JUDGE)


def _looks(row: Protection, history: History) -> Array:
    """(n_samples,) whether the motor is on, not about to be switched off by a stop, and the row not
    bypassed after it was switched on."""
    time = history.time
    on = np.any(history.traces["electrical_power"] > 0.0, axis=1)
    looks = on.copy()
    for stop in (c for c in history.facts.procedures if c.name == "stop"):
        end = np.inf if stop.ended_s is None else stop.ended_s
        looks &= ~((time >= stop.begun_s) & (time <= end))
    for at in time[1:][on[1:] & ~on[:-1]]:
        looks &= ~((time >= at) & (time < at + row.bypass_at_start))
    return looks


def _left(row: Protection, history: History, every: int, scan: float) -> Array:
    """(n_scans,) of what a row watches, how far it is from its limit, of the limit's size."""
    limit = row.limit
    if row.cause == "overload":
        load = history.traces["motor_load"][::every, 0]
        return (limit**2 - _heat(load, scan / (row.time_constant or scan))) / size(limit**2)
    if row.cause == "speed":
        return (limit - np.abs(history.traces["speed_ratio"][::every, 0])) / size(limit)
    if row.cause == "stall_margin":
        return _over_stall(history)[::every] * (1.0 - limit) - 1.0
    way = 1.0 if row.cause == "highest_pressure" else -1.0
    return way * (limit - gauge(history)[::every]) / size(limit, RATHER_PA)


def _heat(load: Sequence[float] | Array, share: float) -> Array:
    """(n,) heat of a motor of first order that rests at its first load: θ += (m² − θ)·Δt/τ."""
    return np.fromiter(accumulate(np.square(load), lambda heat, m2: heat + share * (m2 - heat)),
                       float, len(load))


def _over_stall(history: History) -> Array:
    """(n_samples,) Q/Q_stall of the first fan; inf without a stall line, and at standstill."""
    flow, stall = (history.traces[name][:, 0] for name in ("fan_flow", "stall_flow"))
    return np.divide(flow, stall, out=np.full(flow.size, np.inf), where=stall > 0.0)
