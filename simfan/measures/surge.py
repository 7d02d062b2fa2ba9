"""Surge cycles of a fan's flow, with or without reverse flow.

A cycle is a fall of at least `swing` from the last maximum to a minimum that lies left of the
stall line, then a rise of at least `swing`. It counts only when that valley is narrow: at `swing`
above its bottom it is no wider than `longest` seconds. So a controlled move to the left and back
a minute later is not a cycle, and a slow approach to the first collapse does not hide it.

      Q  ──────╮   ╭─────╮
     ----------│---│-----│------- stall line
               │←w→│     │          w ≤ longest, measured at bottom + swing
               ╰─╮╭╯
                 ╰╯ bottom

Cycles with less than `gap` seconds from the end of one valley to the begin of the next belong to
one episode. Frequency of an episode = (cycles − 1)/(last bottom − first bottom).
The definition is ours; thresholds are parameters.
"""

from math import inf, isnan, nan
from typing import NamedTuple

import numpy as np

from simfan.measures.crossing import compiled, crossing_time


class Params(NamedTuple):
    """What counts as a cycle, and how much is remembered."""

    swing: float
    """[m³/s]."""
    longest: float
    """[s]."""
    gap: float
    """[s]."""
    memory: int
    """Samples looked back on: longest over the sample interval, and two more."""
    room: int
    """Longest list of episodes; cycles that do not fit are counted."""


class Sample(NamedTuple):
    """One record of one fan."""

    flow: float
    """[m³/s]."""
    stall_flow: float
    """[m³/s], nan where there is no line: no cycle then."""
    pressure: float
    """[Pa]."""


class Listed(NamedTuple):
    """The episodes, one array for each field. Fields stand in the order of a table's rows."""

    start: np.ndarray
    end: np.ndarray
    cycles: np.ndarray
    first_bottom: np.ndarray
    last_bottom: np.ndarray
    lowest_flow: np.ndarray
    flow_swing: np.ndarray
    """Largest fall of flow into a bottom."""
    pressure_swing: np.ndarray
    """Largest range of pressure over a cycle."""


TIME, FLOW, PRESSURE = range(3)
START, END, CYCLES, FIRST_BOTTOM, LAST_BOTTOM, LOWEST_FLOW, FLOW_SWING, PRESSURE_SWING = range(8)


class State(NamedTuple):
    """All that the fold knows after a sample."""

    params: Params
    recent: np.ndarray
    """Rings of the last samples, shape (3, memory), written in place."""
    table: np.ndarray
    """Episodes, shape (8, room), rows as in `Listed`, written in place."""
    seen: int
    falling: int
    """1 once a fall of `swing` from the last maximum is seen."""
    top: float
    bottom: float
    bottom_at: float
    bottom_left: int
    """1 where the bottom lies left of the stall line."""
    last_end: float
    """End of the last cycle [s]."""
    episodes: int
    cycles: int
    lost: int


class Cycle(NamedTuple):
    """One valley."""

    start: float
    end: float
    bottom_at: float
    bottom: float
    flow_swing: float
    pressure_swing: float


class Result(NamedTuple):
    """The first `episodes` columns of the table hold; `Listed(*table)` names its rows."""

    table: np.ndarray
    episodes: int
    cycles: int
    """Of the whole run, those that did not fit included."""
    lost: int


@compiled
def start(params):
    """Nothing seen yet."""
    recent, table = np.zeros((3, params.memory)), np.zeros((8, params.room))
    return State(params, recent, table, 0, 0, -inf, inf, 0.0, 0, -inf, 0, 0, 0)


@compiled
def remember(state, t, sample):
    """Write the sample into the rings, over the oldest."""
    recent = state.recent
    i = state.seen % state.params.memory
    recent[TIME, i] = t
    recent[FLOW, i] = sample.flow
    recent[PRESSURE, i] = sample.pressure


@compiled
def valley_start(state, level):
    """When the flow last fell through `level` before the bottom [s]; nan beyond the memory."""
    recent, size = state.recent, state.params.memory
    for back in range(min(state.seen, size - 1)):
        later, i = (state.seen - back) % size, (state.seen - back - 1) % size
        if recent[TIME, i] < state.bottom_at and recent[FLOW, i] >= level:
            t, flow = recent[TIME, later], recent[FLOW, later]
            return crossing_time(t, t - recent[TIME, i], recent[FLOW, i], flow, level)
    return nan


@compiled
def swings(state, since):
    """(highest flow before the bottom, range of pressure) since a time; the newest included."""
    recent, size = state.recent, state.params.memory
    top, low, high = -inf, inf, -inf
    for back in range(min(state.seen + 1, size)):
        i = (state.seen - back) % size
        if recent[TIME, i] >= since:
            low = min(low, recent[PRESSURE, i])
            high = max(high, recent[PRESSURE, i])
            if recent[TIME, i] <= state.bottom_at:
                top = max(top, recent[FLOW, i])
    return top, high - low


@compiled
def note(state, cycle):
    """(count, lost) after the cycle has gone into its episode."""
    table, count = state.table, state.episodes
    is_new = cycle.start - state.last_end > state.params.gap
    if state.lost > 0 or (is_new and count == state.params.room):
        return count, state.lost + 1
    if is_new:
        table[START, count] = cycle.start
        table[FIRST_BOTTOM, count] = cycle.bottom_at
        table[LOWEST_FLOW, count] = cycle.bottom
        count += 1
    k = count - 1
    table[END, k] = cycle.end
    table[CYCLES, k] += 1.0
    table[LAST_BOTTOM, k] = cycle.bottom_at
    table[LOWEST_FLOW, k] = min(table[LOWEST_FLOW, k], cycle.bottom)
    table[FLOW_SWING, k] = max(table[FLOW_SWING, k], cycle.flow_swing)
    table[PRESSURE_SWING, k] = max(table[PRESSURE_SWING, k], cycle.pressure_swing)
    return count, state.lost


@compiled
def risen(state, t, dt, flow_before, flow):
    """State after a rise of `swing` from the bottom: a cycle when left of the line and narrow."""
    p = state.params
    level = state.bottom + p.swing
    began = valley_start(state, level)
    end = crossing_time(t, dt, flow_before, flow, level)
    count, cycles, lost, last_end = state.episodes, state.cycles, state.lost, state.last_end
    if state.bottom_left == 1 and not isnan(began) and end - began <= p.longest:
        top, pressure = swings(state, max(last_end, t - p.longest))
        cycle = Cycle(began, end, state.bottom_at, state.bottom, top - state.bottom, pressure)
        count, lost = note(state, cycle)
        cycles, last_end = cycles + 1, end
    return State(p, state.recent, state.table, state.seen + 1, 0, flow, inf, 0.0, 0,
                 last_end, count, cycles, lost)  # fmt: skip


@compiled
def sunk(state, t, sample, falling):
    """State with the maximum and the minimum carried along; no rise of `swing` yet."""
    top, bottom = state.top, state.bottom
    bottom_at, left = state.bottom_at, state.bottom_left
    if falling == 1 and sample.flow < bottom:
        bottom, bottom_at = sample.flow, t
        left = 1 if sample.flow < sample.stall_flow else 0
    if falling == 0 and sample.flow > top:
        top = sample.flow
    return State(state.params, state.recent, state.table, state.seen + 1, falling,
                 top, bottom, bottom_at, left,
                 state.last_end, state.episodes, state.cycles, state.lost)  # fmt: skip


@compiled
def step(state, t, dt, sample):
    """Take in one sample."""
    remember(state, t, sample)
    swing = state.params.swing
    if state.falling == 1 and sample.flow - state.bottom >= swing:
        before = state.recent[FLOW, (state.seen - 1) % state.params.memory]
        return risen(state, t, dt, before, sample.flow)
    fallen = state.falling == 1 or state.top - sample.flow >= swing
    return sunk(state, t, sample, 1 if fallen else 0)


@compiled
def result(state):
    """The episodes so far; a valley that has not risen again is not a cycle."""
    return Result(state.table, state.episodes, state.cycles, state.lost)


@compiled
def over(state, before, time, flow, stall_flow, pressure):
    """Fold arrays of equal length; `before` is the time of the sample before the first [s]."""
    for k in range(time.size):
        t = time[k]
        state = step(state, t, t - before, Sample(flow[k], stall_flow[k], pressure[k]))
        before = t
    return state
