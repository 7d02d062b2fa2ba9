"""The plain case at rest, by the one flow through its fan: doors for the steady side.

With the flow given, the volume rests where the process passes that flow, and the rotor where torque
and load agree. One imbalance is left, the pressure along the fan's branch; its zeros in flow are
the operating points. All of it by the slopes that a run integrates.
"""

import math

import numpy as np

from simfan.kernel import advance, network, table
from simfan.kernel.layout import compiled, counted_nowhere, offsets
from simfan.kernel.zero import CLOSE, MOST, between, closer, nearest, next_place

THIN = 0.3
"""Density at the wheel over that of the surroundings below which no flow is taken as possible: the
losses before the wheel, reckoned without the speed of sound, mean nothing there."""


@compiled
def surplus(plant, cond, position, flow, back, x, d, coef, probe, left):
    """Pressure left over along the fan's branch [Pa], once for each row of `position` and `flow`.

    `back` (n,) is the volume's pressure [Pa] where it is given, nan where the process decides it.
    `x` (n, n_integrated) becomes the resting states, `left` (n,) the surplus.
    """
    advance.bound(plant, cond, probe)
    for k in range(flow.size):
        left[k] = at_flow(plant, cond, coef, position[k], flow[k], back[k], x[k], d, probe)


@counted_nowhere
def at_flow(plant, cond, coef, position, flow, back, x, d, probe):
    """`surplus` of one row."""
    off = offsets(plant)
    around = cond.pressure[plant.network.volume.size]
    x[off.flow] = flow
    network.form_called(plant, cond, position, x[off.flow:off.speed], coef, 0.0)
    x[off.speed] = coef.fan[0].reference if coef.fan[0].reference > 0.0 else 1.0
    if math.isnan(back):
        volume = off.flow - plant.network.volume.size
        still(plant, coef, cond, off, x, d, probe, volume, 0.05 * around, 8.0 * around)
    else:
        x[0] = back
        network.slopes_called(plant, coef, cond, off, x, d, probe)
    if d[off.speed] != 0.0:
        still(plant, coef, cond, off, x, d, probe, off.speed, 0.0, 2.0)
    thick = probe.fan[0].density * plant.gas.R * cond.temperature[plant.network.branch[0].first]
    if flow > 0.0 and not thick > THIN * around:
        return -around
    return d[off.flow] * coef.inertance[0]


@counted_nowhere
def still(plant, coef, cond, off, x, d, probe, i, low, high):
    """Put state i where its slope is zero, all else as it is; at the nearer end where that lies
    beyond. The slope falls with the state."""
    bracket = between(low, 1.0, high, -1.0, CLOSE)
    at_low = 0.0
    x[i] = low
    for k in range(MOST + 2):
        network.slopes_called(plant, coef, cond, off, x, d, probe)
        if k == 0:
            if d[i] <= 0.0:
                return
            at_low = d[i]
            x[i] = high
            continue
        if k == 1:
            if d[i] >= 0.0:
                return
            bracket = between(low, at_low, high, d[i], CLOSE)
        else:
            bracket = closer(bracket, x[i], d[i])
            if bracket.done:
                return
        x[i] = next_place(bracket)


@counted_nowhere
def stand_for(plant, output, position):
    """Every element where one output puts it."""
    act = plant.actuators
    for a in range(position.size):
        position[a] = table.line(act.output[a], act.demand[a], output)


@counted_nowhere
def at_output(plant, cond, coef, output, flow, position, x, d, probe):
    """`surplus` of one flow with every element where one output puts it."""
    stand_for(plant, output, position)
    return at_flow(plant, cond, coef, position, flow, math.nan, x, d, probe)


@counted_nowhere
def balanced(plant, cond, coef, position, low, at_low, high, at_high, x, d, probe):
    """Flow between two at which nothing is left over [kg/s]."""
    bracket = between(low, at_low, high, at_high, CLOSE)
    while not bracket.done:
        flow = next_place(bracket)
        left = at_flow(plant, cond, coef, position, flow, math.nan, x, d, probe)
        bracket = closer(bracket, flow, left)
    return nearest(bracket)


@counted_nowhere
def outermost(plant, cond, coef, output, grid, step, position, x, d, probe):
    """Flow of the operating point at one output that is met first [kg/s], from the low end of the
    grid with a step of 1, from the high end with −1; nan without one."""
    g = 0 if step > 0 else grid.size - 1
    stand_for(plant, output, position)
    before = at_flow(plant, cond, coef, position, grid[g], math.nan, x, d, probe)
    for _ in range(grid.size - 1):
        now = at_flow(plant, cond, coef, position, grid[g + step], math.nan, x, d, probe)
        if (before > 0.0) != (now > 0.0):
            return balanced(plant, cond, coef, position, grid[g], before, grid[g + step], now, x, d,
                            probe)
        before = now
        g += step
    return math.nan


@compiled
def flows_at(plant, cond, position, grid, x, d, coef, probe):
    """((n,) row of `position`, (n,) flow [kg/s]) of every operating point with the elements so
    placed, by row and rising flow; looked for between neighbours of the grid."""
    advance.bound(plant, cond, probe)
    row = np.empty(position.shape[0] * grid.size, dtype=np.int64)
    flow = np.empty(row.size)
    n = 0
    for k in range(position.shape[0]):
        before = at_flow(plant, cond, coef, position[k], grid[0], math.nan, x, d, probe)
        for g in range(1, grid.size):
            now = at_flow(plant, cond, coef, position[k], grid[g], math.nan, x, d, probe)
            if (before > 0.0) != (now > 0.0):
                row[n] = k
                flow[n] = balanced(plant, cond, coef, position[k], grid[g - 1], before, grid[g],
                                   now, x, d, probe)
                n += 1
            before = now
    return row[:n], flow[:n]


@compiled
def outputs_for(plant, cond, flow, steps, position, x, d, coef, probe):
    """(n,) the highest controller output that gives each flow [kg/s], nan where none does; looked
    for at so many even steps. `position` (n_elements,) is working memory."""
    advance.bound(plant, cond, probe)
    found = np.empty(flow.size)
    for k in range(flow.size):
        found[k] = output_for(plant, cond, coef, flow[k], steps, position, x, d, probe)
    return found


@counted_nowhere
def output_for(plant, cond, coef, flow, steps, position, x, d, probe):
    """`outputs_for` of one flow."""
    high = 1.0
    at_high = at_output(plant, cond, coef, high, flow, position, x, d, probe)
    for g in range(steps - 1, -1, -1):
        low = g / steps
        at_low = at_output(plant, cond, coef, low, flow, position, x, d, probe)
        if (at_low > 0.0) != (at_high > 0.0):
            bracket = between(low, at_low, high, at_high, CLOSE)
            while not bracket.done:
                u = next_place(bracket)
                left = at_output(plant, cond, coef, u, flow, position, x, d, probe)
                bracket = closer(bracket, u, left)
            return nearest(bracket)
        high, at_high = low, at_low
    return math.nan


@compiled
def placed(plant, output, position):
    """(n, n_actuators) where the sequence tables put the elements for (n, n_loops) outputs."""
    act = plant.actuators
    for k in range(output.shape[0]):
        for a in range(position.shape[1]):
            position[k, a] = table.line(act.output[a], act.demand[a],
                                        output[k, act.each[a].loop])


@compiled
def note(plant, cond, state, position, output, x, d, coef, probe, traces):
    """Sample k of every trace from the k-th resting state, as a run would record it."""
    off = offsets(plant)
    advance.bound(plant, cond, probe)
    for k in range(x.shape[0]):
        for a in range(state.position.size):
            state.position[a] = position[k, a]
            state.demand[a] = position[k, a]
        for i in range(state.moving.size):
            state.moving[i] = x[k, i]
        network.form_called(plant, cond, state.position, x[k, off.flow:off.speed], coef, 0.0)
        network.slopes_called(plant, coef, cond, off, state.moving, d, probe)
        for i in range(plant.loops.size):
            state.loop[i].output = output[k, i]
            state.loop[i].reading = network.sensed(plant, coef, cond, probe, i)
        advance.record(plant, off, state, coef, cond, probe, traces, k)


@compiled
def jacobian(plant, cond, position, x, size, moved, d, coef, probe, matrix):
    """(n, m, m) ∂(dx/dt)/∂x of the first m states by central differences, for each resting state.

    `size` (m,) is how far each state is moved to either side; `matrix` comes as zeros.
    """
    off = offsets(plant)
    advance.bound(plant, cond, probe)
    for k in range(x.shape[0]):
        network.form_called(plant, cond, position[k], x[k, off.flow:off.speed], coef, 0.0)
        for i in range(size.size):
            for side in (1.0, -1.0):
                for q in range(moved.size):
                    moved[q] = x[k, q]
                moved[i] += side * size[i]
                network.slopes_called(plant, coef, cond, off, moved, d, probe)
                for q in range(size.size):
                    matrix[k, q, i] += side * d[q] / (2.0 * size[i])
