"""How far the held value was from its setpoint, summed over time.

IAE = ∫|e| dt, ISE = ∫e² dt, ITAE = ∫(t − t₀)|e| dt with e = wanted − actual and t₀ the start of
the window, by trapezoid. A setpoint that jumps between two samples is charged for half of that
interval.
Source: the integrals are textbook definitions (for one, Åström and Hägglund, Advanced PID Control,
2006, section 4.2), from memory.
"""

from typing import NamedTuple

from simfan.measures.crossing import compiled, mean_over, share_above


class Params(NamedTuple):
    """Where the clock starts, and the half width of the band."""

    since: float
    """t₀ [s]."""
    band: float
    """Half width of the band, of |wanted| [1]."""
    fixed: float = 0.0
    """What is added to the half width, in the unit of the sample."""


class Sample(NamedTuple):
    """One record, both in the same unit."""

    wanted: float
    actual: float


class State(NamedTuple):
    """All that the fold knows after a sample."""

    params: Params
    error: float
    beyond: float
    iae: float
    ise: float
    itae: float
    largest: float
    outside: float
    clock: float


class Result(NamedTuple):
    """In the unit of the sample, and seconds."""

    iae: float
    ise: float
    itae: float
    largest: float
    """Largest |e|."""
    outside: float
    """Time with |e| beyond the band [s]."""


@compiled
def start(params):
    """Nothing seen yet."""
    return State(params, 0.0, -1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@compiled
def step(state, t, dt, sample):
    """Take in one sample."""
    error = abs(sample.wanted - sample.actual)
    beyond = error - (state.params.band * abs(sample.wanted) + state.params.fixed)
    clock = t - state.params.since
    return State(
        state.params,
        error,
        beyond,
        state.iae + mean_over(dt, state.error, error),
        state.ise + mean_over(dt, state.error * state.error, error * error),
        state.itae + mean_over(dt, state.clock * state.error, clock * error),
        max(state.largest, error),
        state.outside + dt * share_above(state.beyond, beyond),
        clock,
    )


@compiled
def result(state):
    """The integrals so far."""
    return Result(state.iae, state.ise, state.itae, state.largest, state.outside)


@compiled
def over(state, before, time, wanted, actual):
    """Fold arrays of equal length; `before` is the time of the sample before the first [s]."""
    for k in range(time.size):
        t = time[k]
        state = step(state, t, t - before, Sample(wanted[k], actual[k]))
        before = t
    return state
