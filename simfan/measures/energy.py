"""Integrals of power and of volume flow, by trapezoid: W = ∫P dt [J], V = ∫Q dt [m³].

Flow backward counts against the volume.
"""

from typing import NamedTuple

from simfan.measures.crossing import compiled, mean_over


class Sample(NamedTuple):
    """One record of one fan."""

    shaft: float
    """Power the wheel takes [W]."""
    electrical: float
    """Power from the supply [W]."""
    flow: float
    """Volume flow [m³/s]."""


class State(NamedTuple):
    """All that the fold knows after a sample."""

    last: Sample
    shaft: float
    electrical: float
    volume: float


class Result(NamedTuple):
    """Of one fan."""

    shaft: float
    """[J]."""
    electrical: float
    """[J]."""
    volume: float
    """[m³]."""


@compiled
def start():
    """Nothing seen yet; this fold has no parameters."""
    return State(Sample(0.0, 0.0, 0.0), 0.0, 0.0, 0.0)


@compiled
def step(state, t, dt, sample):
    """Take in one sample."""
    last = state.last
    return State(
        sample,
        state.shaft + mean_over(dt, last.shaft, sample.shaft),
        state.electrical + mean_over(dt, last.electrical, sample.electrical),
        state.volume + mean_over(dt, last.flow, sample.flow),
    )


@compiled
def result(state):
    """The integrals so far."""
    return Result(state.shaft, state.electrical, state.volume)


@compiled
def over(state, before, time, shaft, electrical, flow):
    """Fold arrays of equal length; `before` is the time of the sample before the first [s]."""
    for k in range(time.size):
        t = time[k]
        state = step(state, t, t - before, Sample(shaft[k], electrical[k], flow[k]))
        before = t
    return state
