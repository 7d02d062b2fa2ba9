"""The answer to one setpoint change, judged in its own window.

With y = (value − from)/(to − from), so that a change upward and one downward read alike and no
change needs to start from zero:

    overshoot = max(y) − 1,  undershoot = −min(y) (the wrong way first),  both not below zero;
    rise time = from the first y = 0.1 to the first y = 0.9;
    settling time = last time outside |y − 1| ≤ band, from when the setpoint has arrived.

A step arrives at once; a ramp at its end, so that a slow ramp is not blamed for its own length, and
a value that is inside the band by then has settled in 0 s. It counts as settled only when it then
stayed inside for at least `stay` seconds: a value that swings through the band as its window ends
has not settled.
Source: textbook definitions of the step response, stated for any initial value; from memory. That
a ramp settles from its end is common practice, no source: ISA-51.1 counts from the beginning of the
stimulus, from memory, which for a step is the same.
"""

from math import isnan, nan
from typing import NamedTuple

from simfan.measures.crossing import compiled, crossing_time


class Params(NamedTuple):
    """The change, and when it is settled. `start` and `end` must differ."""

    since: float
    """Time at which the setpoint has arrived [s]."""
    start: float
    end: float
    band: float
    """Half width of the band, of the step [1]."""
    stay: float
    """[s]."""


class State(NamedTuple):
    """All that the fold knows after a sample."""

    params: Params
    y: float
    ten: float
    ninety: float
    inside_since: float
    highest: float
    lowest: float
    t: float


class Result(NamedTuple):
    """Shares of the step [1] and seconds; nan where there is no such number."""

    overshoot: float
    undershoot: float
    rise_time: float
    settling_time: float
    inside_for: float
    """How long it has been inside the band when the window ends [s]; 0 outside."""


@compiled
def start(params):
    """Resting at the initial value."""
    return State(params, 0.0, nan, nan, nan, 0.0, 0.0, params.since)


@compiled
def first_time(found, t, dt, before, now, level):
    """`found` where already known, else when the line rises to `level`, else nan [s]."""
    if not isnan(found) or now < level:
        return found
    return crossing_time(t, dt, before, now, level)


@compiled
def entered(since, t, dt, before, now, band):
    """Since when y is inside 1 ± band [s]; nan while outside."""
    if abs(now - 1.0) > band:
        return nan
    if not isnan(since):
        return since
    edge = 1.0 + band if before > 1.0 else 1.0 - band
    return crossing_time(t, dt, before, now, edge)


@compiled
def step(state, t, dt, value):
    """Take in one sample."""
    p = state.params
    y = (value - p.start) / (p.end - p.start)
    return State(
        p,
        y,
        first_time(state.ten, t, dt, state.y, y, 0.1),
        first_time(state.ninety, t, dt, state.y, y, 0.9),
        entered(state.inside_since, t, dt, state.y, y, p.band),
        max(state.highest, y),
        min(state.lowest, y),
        t,
    )


@compiled
def result(state):
    """The figures of the change as far as seen."""
    inside = not isnan(state.inside_since)
    inside_for = state.t - state.inside_since if inside else 0.0
    settled = inside and inside_for >= state.params.stay
    return Result(
        max(0.0, state.highest - 1.0),
        max(0.0, 0.0 - state.lowest),
        state.ninety - state.ten,
        max(0.0, state.inside_since - state.params.since) if settled else nan,
        inside_for,
    )


@compiled
def over(state, before, time, value):
    """Fold arrays of equal length; `before` is the time of the sample before the first [s]."""
    for k in range(time.size):
        t = time[k]
        state = step(state, t, t - before, value[k])
        before = t
    return state
