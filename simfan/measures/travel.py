"""How much an element was moved: what its bearings and its actuator pay.

    travel = Σ|y_k − y_{k−1}|  (total variation; noise counts in full);
    reversals = turns of direction, each after moving back by more than the dead band;
    time at limits = time with y at or beyond either limit, less a tolerance.
Source: total variation is a textbook definition; the dead band on reversals is ours, from memory.
"""

from typing import NamedTuple

from simfan.measures.crossing import compiled, share_above


class Params(NamedTuple):
    """In the unit of the position."""

    dead_band: float
    low: float
    high: float
    tolerance: float
    """How near a limit is at the limit."""


class State(NamedTuple):
    """All that the fold knows after a sample."""

    params: Params
    seen: int
    position: float
    turn: float
    """The furthest point in the present direction."""
    direction: int
    """1 rising, −1 falling, 0 not yet known."""
    travel: float
    reversals: int
    beyond: float
    at_limits: float


class Result(NamedTuple):
    """In the unit of the position, turns, and seconds."""

    travel: float
    reversals: int
    at_limits: float


@compiled
def start(params):
    """Nothing seen yet."""
    return State(params, 0, 0.0, 0.0, 0, 0.0, 0, -1.0, 0.0)


@compiled
def heading(direction, turn, position, dead_band):
    """The direction after this position: changed once it is more than a dead band off the turn."""
    if position - turn > dead_band:
        return 1
    if turn - position > dead_band:
        return -1
    return direction


@compiled
def furthest(direction, turn, position):
    """The turning point, carried along while the position goes on in its direction."""
    if direction > 0:
        return max(turn, position)
    if direction < 0:
        return min(turn, position)
    return turn


@compiled
def step(state, t, dt, position):
    """Take in one sample."""
    p = state.params
    before = position if state.seen == 0 else state.position
    turn = furthest(state.direction, position if state.seen == 0 else state.turn, position)
    direction = heading(state.direction, turn, position, p.dead_band)
    turned = direction != state.direction
    beyond = max(position - p.high, p.low - position) + p.tolerance
    return State(
        p,
        state.seen + 1,
        position,
        position if turned else turn,
        direction,
        state.travel + abs(position - before),
        state.reversals + (1 if turned and state.direction != 0 else 0),
        beyond,
        state.at_limits + dt * share_above(state.beyond, beyond),
    )


@compiled
def result(state):
    """The sums so far."""
    return Result(state.travel, state.reversals, state.at_limits)


@compiled
def over(state, before, time, position):
    """Fold arrays of equal length; `before` is the time of the sample before the first [s]."""
    for k in range(time.size):
        t = time[k]
        state = step(state, t, t - before, position[k])
        before = t
    return state
