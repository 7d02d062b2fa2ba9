"""Energy that a fan gives to the air, with the air's compression: ∫Q·Δp·Kp dt [J].

Kp = [ln(1+x)/x]·[z/ln(1+z)], x = Δp/p₁, z = ((γ−1)/γ)·(P/Q)/p₁

The standards form Kp with the total pressure rise; given the static rise it serves the static
efficiency, which differs from their Kp by less than the velocity pressure's share of x.
Flow that stands or goes backward is given nothing: there is no Kp for it.
Source: the compressibility coefficient of AMCA 210 and ISO 5801, from memory.
"""

from math import log1p
from typing import NamedTuple

from simfan.measures.crossing import compiled, mean_over

GAMMA = 1.4
"""Ratio of specific heats of air [1]."""


class Params(NamedTuple):
    """The air in front of the wheel."""

    inlet_pressure: float
    """p₁ [Pa], absolute."""
    gamma: float
    """γ [1]."""


class Sample(NamedTuple):
    """One record of one fan."""

    flow: float
    """Q [m³/s]."""
    rise: float
    """Δp [Pa]."""
    shaft: float
    """P [W]."""


class State(NamedTuple):
    """All that the fold knows after a sample."""

    params: Params
    power: float
    to_air: float


class Result(NamedTuple):
    """Of one fan."""

    to_air: float
    """[J]."""


@compiled
def log_over(value):
    """ln(1+v)/v [1], 1 at v = 0. Nan for v at or below −1."""
    if value == 0.0:
        return 1.0
    return log1p(value) / value if value > -1.0 else float("nan")


@compiled
def coefficient(rise, power, flow, inlet_pressure, gamma):
    """Kp [1] of a forward flow [m³/s]; rise and inlet pressure [Pa], power at the shaft [W].

    A wheel that the air drives (power below zero) warms nothing: its z is taken as zero.
    """
    z = (gamma - 1.0) / gamma * (max(power, 0.0) / flow) / inlet_pressure
    return log_over(rise / inlet_pressure) / log_over(z)


@compiled
def air_power(params, sample):
    """Q·Δp·Kp [W]; 0 without forward flow."""
    if not sample.flow > 0.0:
        return 0.0
    kp = coefficient(sample.rise, sample.shaft, sample.flow, params.inlet_pressure, params.gamma)
    return sample.flow * sample.rise * kp


@compiled
def start(params):
    """Nothing seen yet."""
    return State(params, 0.0, 0.0)


@compiled
def step(state, t, dt, sample):
    """Take in one sample."""
    power = air_power(state.params, sample)
    return State(state.params, power, state.to_air + mean_over(dt, state.power, power))


@compiled
def result(state):
    """The integral so far."""
    return Result(state.to_air)


@compiled
def over(state, before, time, flow, rise, shaft):
    """Fold arrays of equal length; `before` is the time of the sample before the first [s]."""
    for k in range(time.size):
        t = time[k]
        state = step(state, t, t - before, Sample(flow[k], rise[k], shaft[k]))
        before = t
    return state
