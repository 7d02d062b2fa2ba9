"""How near the fan came to its stall line.

    stall margin = (Q − Q_stall)/Q  over samples with Q > 0 and a line there;
    time left of the line = time with Q < Q_stall, by straight lines between samples.

Q_stall is nan where the present speed and inlet setting have no line. As Q falls to zero the
margin has no lowest value; Q/Q_stall stays finite, so both are kept, and whether Q ≤ 0 was seen.
"""

from math import inf, nan
from typing import NamedTuple

from simfan.measures.crossing import compiled, share_above


class Sample(NamedTuple):
    """One record of one fan [m³/s]."""

    flow: float
    stall_flow: float


class State(NamedTuple):
    """All that the fold knows after a sample."""

    beyond: float
    lowest: float
    lowest_at: float
    ratio: float
    left: float
    with_line: int
    without_flow: int


class Result(NamedTuple):
    """nan where no sample had a line and forward flow."""

    lowest: float
    """Lowest (Q − Q_stall)/Q over samples with Q > 0 [1]."""
    lowest_at: float
    """[s]."""
    ratio: float
    """Lowest Q/Q_stall, backward flow included [1]."""
    left: float
    """Time left of the line [s]."""
    with_line: int
    """Samples with a stall line."""
    without_flow: int
    """Of these, samples with Q ≤ 0."""


@compiled
def start():
    """Nothing seen yet; this fold has no parameters."""
    return State(nan, inf, nan, inf, 0.0, 0, 0)


@compiled
def margin(flow, stall_flow):
    """(Q − Q_stall)/Q [1]; inf where it is not defined."""
    if flow > 0.0 and stall_flow > 0.0:
        return (flow - stall_flow) / flow
    return inf


@compiled
def step(state, t, dt, sample):
    """Take in one sample."""
    beyond = sample.stall_flow - sample.flow
    now = margin(sample.flow, sample.stall_flow)
    line = sample.stall_flow > 0.0
    ratio = sample.flow / sample.stall_flow if line else inf
    return State(
        beyond,
        min(state.lowest, now),
        t if now < state.lowest else state.lowest_at,
        min(state.ratio, ratio),
        state.left + dt * share_above(state.beyond, beyond),
        state.with_line + (1 if line else 0),
        state.without_flow + (1 if line and sample.flow <= 0.0 else 0),
    )


@compiled
def result(state):
    """The nearest approach so far."""
    return Result(
        state.lowest if state.lowest < inf else nan,
        state.lowest_at,
        state.ratio if state.ratio < inf else nan,
        state.left,
        state.with_line,
        state.without_flow,
    )


@compiled
def over(state, before, time, flow, stall_flow):
    """Fold arrays of equal length; `before` is the time of the sample before the first [s]."""
    for k in range(time.size):
        t = time[k]
        state = step(state, t, t - before, Sample(flow[k], stall_flow[k]))
        before = t
    return state
