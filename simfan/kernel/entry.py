"""Doors for callers outside the kernel: one evaluation of the equations, no time."""

import math

from simfan.kernel import advance, decide, devices, fan, network, table
from simfan.kernel.layout import TICK, compiled, offsets


@compiled
def begins(plant):
    """Where each kind of integrated state begins."""
    return offsets(plant)


@compiled
def stand(plant, cond, position, coef, probe):
    """Coefficients for elements that stand still, boundaries set."""
    advance.bound(plant, cond, probe)
    network.form_called(plant, cond, position, position, coef, 0.0)


@compiled
def slopes(plant, coef, cond, x, d, probe):
    """d = dx/dt at the coefficients; the probe is filled."""
    network.slopes_called(plant, coef, cond, offsets(plant), x, d, probe)


@compiled
def held(plant, coef, cond, probe, loop):
    """True value of what a loop holds, and what its transmitter sees, at the last evaluation."""
    return (network.true_value(plant, coef, cond, probe, loop),
            network.sensed(plant, coef, cond, probe, loop))


@compiled
def guarded(plant, coef, probe, i):
    """What protection i looks at, at the last evaluation."""
    return network.guarded(plant, coef, probe, i)


@compiled
def stall_flow(plant, i, n, opening):
    """Flow of the stall line of fan i [m³/s]."""
    return fan.stall_flow(plant.fans, i, n, opening)


@compiled
def demand(plant, actuator, output):
    """Where the sequence table puts an element."""
    act = plant.actuators
    return table.line(act.output[actuator], act.demand[actuator], output)


@compiled
def scan(plant, schedule, state, d, coef, probe):
    """Let the controllers look and decide at the scan the state stands at."""
    off = offsets(plant)
    tick = state.counts[TICK]
    cond = advance.conditions(schedule, tick // plant.scan_steps)
    advance.bound(plant, cond, probe)
    advance.look(plant, coef, cond, off, state, d, probe)
    advance.sense(plant, off, state, coef, cond, probe, tick)
    decide.decide(plant, state, cond)


@compiled
def slopes_between_scans(t, x, plant, schedule, state, d, coef, probe, position):
    """dx/dt at a time t [s] after the scan the state stands at, actuators moved exactly.

    The flat entry for another integrator: the same equations with nothing held over a step. Valid
    until the next scan, for actuators without dead time, backlash, stick or failure. `position` is
    working memory.
    """
    cond = advance.conditions(schedule, state.counts[TICK] // plant.scan_steps)
    act = plant.actuators
    for a in range(position.size):
        decay = math.exp(-t / act.each[a].lag) if act.each[a].lag > 0.0 else 0.0
        position[a] = devices.move(state.stem[a], state.demand[a], act.each[a].rate_up,
                                   act.each[a].rate_down, act.each[a].lag, decay, t)
    off = offsets(plant)
    advance.bound(plant, cond, probe)
    network.form_called(plant, cond, position, x[off.flow:off.speed], coef, 0.0)
    network.slopes_called(plant, coef, cond, off, x, d, probe)
