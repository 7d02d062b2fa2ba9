"""When a signal was beyond a limit: a list of episodes with start, end and depth.

The sample is the depth itself, above zero when beyond (such as Q_stall − Q, or load − 1); nan is
not beyond. Two episodes with less than `gap` seconds between them are one, so that hundreds of
crossings in a surge are one line in the list.

         depth      ╭─╮     ╭╮               ╭──╮
      0 ────────────┤ ├─────┤├───────────────┤  ├──────
                    └ one: 2 crossings ┘     └ another
                        < gap       > gap
"""

from math import inf, nan
from typing import NamedTuple

import numpy as np

from simfan.measures.crossing import compiled, crossing_time


class Params(NamedTuple):
    """What is one episode, and how many are kept."""

    gap: float
    """[s]."""
    room: int
    """Longest list; what does not fit is counted."""


class Listed(NamedTuple):
    """The episodes, one array for each field. Fields stand in the order of a table's rows."""

    start: np.ndarray
    end: np.ndarray
    deepest: np.ndarray
    crossings: np.ndarray
    """Times the signal went beyond."""


START, END, DEEPEST, CROSSINGS = range(4)


class State(NamedTuple):
    """All that the fold knows after a sample."""

    params: Params
    table: np.ndarray
    """Shape (4, room), rows as in `Listed`, written in place."""
    episodes: int
    """Episodes in the table."""
    lost: int
    """Episodes that did not fit."""
    is_open: int
    depth: float
    last_end: float
    t: float


class Result(NamedTuple):
    """The first `episodes` columns of the table hold; `Listed(*table)` names its rows."""

    table: np.ndarray
    episodes: int
    lost: int
    is_open: int
    """1 while the last episode is not over."""


@compiled
def start(params):
    """An empty list."""
    return State(params, np.zeros((4, params.room)), 0, 0, 0, nan, -inf, -inf)


@compiled
def opened(state, at):
    """(count, lost) once an episode begins at this time: the last one again, or a new one."""
    table, count, lost = state.table, state.episodes, state.lost
    is_new = at - state.last_end > state.params.gap
    if is_new and (lost > 0 or count == state.params.room):
        return count, lost + 1
    if is_new:
        table[START, count] = at
        table[DEEPEST, count] = 0.0
        table[CROSSINGS, count] = 0.0
        count += 1
    if lost == 0:
        table[CROSSINGS, count - 1] += 1.0
    return count, lost


@compiled
def step(state, t, dt, depth):
    """Take in one sample."""
    table, count, lost, last_end = state.table, state.episodes, state.lost, state.last_end
    is_open = 1 if depth > 0.0 else 0
    if is_open == 1 and state.is_open == 0:
        count, lost = opened(state, crossing_time(t, dt, state.depth, depth, 0.0))
    if is_open == 0 and state.is_open == 1:
        last_end = crossing_time(t, dt, state.depth, depth, 0.0)
    if is_open == 1:
        last_end = t
    if lost == 0 and (is_open == 1 or state.is_open == 1):
        table[END, count - 1] = last_end
        table[DEEPEST, count - 1] = max(table[DEEPEST, count - 1], depth if is_open == 1 else 0.0)
    return State(state.params, table, count, lost, is_open, depth, last_end, t)


@compiled
def result(state):
    """The list so far; an episode that is not over ends at the last sample."""
    return Result(state.table, state.episodes, state.lost, state.is_open)


@compiled
def over(state, before, time, depth):
    """Fold arrays of equal length; `before` is the time of the sample before the first [s]."""
    for k in range(time.size):
        t = time[k]
        state = step(state, t, t - before, depth[k])
        before = t
    return state
