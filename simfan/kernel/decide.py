"""A scan of the controllers: setpoint, error, selectors, limits, external reset, sequence tables.

    timeline ─► outer loop ─► inner loop ─┐
                    override, override ───┴─► selectors ─► limits ─► sequence tables ─► elements
                        ▲                                    │
                        └────────── external reset ──────────┘
"""

import math

from simfan.kernel import control, devices, table
from simfan.kernel.layout import (
    ALARM,
    INNER,
    LOWER,
    NOTHING,
    OUTPUT,
    POSITION,
    SETPOINT,
    counted_nowhere,
)


@counted_nowhere
def decide(plant, state, cond):
    """One scan of every controller, then the sequence tables. A loop that sets another one stands
    before it."""
    for i in range(plant.loops.size):
        if plant.loops[i].overrides < 0:
            control_scan(plant, state, cond, i)
    act = plant.actuators
    for a in range(act.each.size):
        wanted = table.line(act.output[a], act.demand[a], state.loop[act.each[a].loop].output)
        state.demand[a] = devices.beside(wanted, state.demand[a], act.each[a].skip_low,
                                         act.each[a].skip_high)


@counted_nowhere
def control_scan(plant, state, cond, i):
    """One scan of one controller with those that override it. In manual the integral follows, so
    that automatic takes over without a bump."""
    loops = plant.loops
    manual = manual_output(plant, state, cond, i)
    automatic = math.isnan(manual)
    forward = looked(plant, state, cond, i, automatic)
    if automatic:
        state.loop[i].unlimited = forward + state.loop[i].integral
        chosen = selected(plant, state, cond, i, state.loop[i].unlimited)
        state.loop[i].output = control.limited(chosen, state.loop[i].output, loops[i].low,
                                               loops[i].high, loops[i].most_change)
        integrate(plant, state, i, i)
        for j in range(loops.size):
            if loops[j].overrides == i:
                state.loop[j].output = state.loop[i].output
                integrate(plant, state, j, i)
    else:
        if manual >= 0.0:
            state.loop[i].output = manual
        state.loop[i].unlimited = state.loop[i].output
        state.loop[i].integral = state.loop[i].output - forward
        rest_overrides(plant, state, cond, i)


@counted_nowhere
def manual_output(plant, state, cond, i):
    """Output of a loop in manual, nan in automatic: where a protection puts it, else where the
    timeline does. A loop whose inner loop is in manual follows what that one reads."""
    for g in range(plant.guards.size):
        if (state.guard[g].holds == 1 and plant.guards[g].loop == i
                and plant.guards[g].effect != ALARM and plant.guards[g].output >= 0.0):
            return plant.guards[g].output
    inner = plant.loops[i].inner
    if math.isnan(cond.manual[i]) and inner >= 0 and not math.isnan(cond.manual[inner]):
        return min(max(share_read(plant, state, inner), plant.loops[i].low), plant.loops[i].high)
    return cond.manual[i]


@counted_nowhere
def looked(plant, state, cond, i, automatic):
    """Setpoint, error and feedforward of this scan; all of the output but its integral."""
    loops = plant.loops
    r = wanted_value(plant, state, cond, i)
    y = share_read(plant, state, i)
    if loops[i].most_aim < math.inf:
        r = control.limited(r, state.loop[i].aim if automatic else y, -math.inf, math.inf,
                            loops[i].most_aim if automatic else 0.0)
    state.loop[i].aim = r
    if loops[i].feed != NOTHING:
        x = r if loops[i].feed == SETPOINT else y
        fed = table.line(plant.feeds[i, 0], plant.feeds[i, 1], x)
        state.loop[i].feed += loops[i].feed_share * (fed - state.loop[i].feed)
    if loops[i].gap > 0.0:
        y = r - control.gapped(r - y, loops[i].gap, loops[i].gap_share)
    return (loops[i].gain * (loops[i].weight * r - y) + state.loop[i].derivative
            + state.loop[i].feed)


@counted_nowhere
def wanted_value(plant, state, cond, i):
    """The setpoint on spans: from the timeline, or the output of the loop above."""
    if plant.loops[i].source >= 0:
        return state.loop[plant.loops[i].source].output
    return (cond.setpoint[i] - plant.transmitters[i].low) / plant.transmitters[i].span


@counted_nowhere
def share_read(plant, state, i):
    """The reading on spans."""
    return (state.loop[i].reading - plant.transmitters[i].low) / plant.transmitters[i].span


@counted_nowhere
def selected(plant, state, cond, i, chosen):
    """The output that passes the selectors, one after the other."""
    for j in range(plant.loops.size):
        if plant.loops[j].overrides == i:
            state.loop[j].unlimited = (looked(plant, state, cond, j, True)
                                       + state.loop[j].integral)
            if plant.loops[j].select == LOWER:
                chosen = min(chosen, state.loop[j].unlimited)
            else:
                chosen = max(chosen, state.loop[j].unlimited)
    return chosen


@counted_nowhere
def rest_overrides(plant, state, cond, i):
    """While the loop is in manual its overrides wait at its output, all their reset done."""
    for j in range(plant.loops.size):
        if plant.loops[j].overrides == i:
            state.loop[j].unlimited = (looked(plant, state, cond, j, False)
                                       + state.loop[j].integral)
            state.loop[j].output = state.loop[i].output
            if plant.loops[j].reset < math.inf:
                state.loop[j].integral = state.loop[i].output - state.loop[j].feed


@counted_nowhere
def integrate(plant, state, i, seen):
    """The integral after this scan, its external reset that of loop `seen`; none without a reset
    time."""
    loops = plant.loops
    if loops[i].reset < math.inf:
        state.loop[i].integral = control.integral(
            state.loop[i].integral, reset_signal(plant, state, seen),
            state.loop[i].derivative + state.loop[i].feed, state.loop[i].aim, loops[i].gain,
            loops[i].weight, loops[i].reset, plant.step * plant.scan_steps)


@counted_nowhere
def reset_signal(plant, state, i):
    """The external reset: own limited output, measured position, or (no anti-windup) neither."""
    if plant.loops[i].reset_from == OUTPUT:
        return state.loop[i].output
    if plant.loops[i].reset_from == POSITION:
        a = plant.loops[i].actuator
        return table.line(plant.actuators.demand[a], plant.actuators.output[a],
                             state.position[a])
    if plant.loops[i].reset_from == INNER:
        return share_read(plant, state, plant.loops[i].inner)
    return state.loop[i].unlimited
