"""The plain case at rest, by the one flow through its fan: doors for the steady side.

With the flow given, the volume rests where the process passes that flow, and the rotor where torque
and load agree. One imbalance is left, the pressure along the fan's branch; its zeros in flow are
the operating points. All of it by the slopes that a run integrates.
"""

import math

from simfan.kernel import advance, network, table
from simfan.kernel.layout import compiled, counted_nowhere, offsets

THIN = 0.3
"""Density at the wheel over that of the surroundings below which no flow is taken as possible: the
losses before the wheel, reckoned without the speed of sound, mean nothing there."""
CLOSE = 1e-13
"""Width, of the bracket at first, at which a search for a zero ends."""


@compiled
def surplus(plant, cond, position, flow, back, x, d, coef, probe, left):
    """Pressure left over along the fan's branch [Pa], once for each row of `position` and `flow`.

    `back` (n,) is the volume's pressure [Pa] where it is given, nan where the process decides it.
    `x` (n, n_integrated) becomes the resting states, `left` (n,) the surplus.
    """
    off = offsets(plant)
    advance.bound(plant, cond, probe)
    for k in range(flow.size):
        network.form_called(plant, cond, position[k], flow[k:k + 1], coef, 0.0)
        left[k] = at_flow(plant, cond, coef, off, flow[k], back[k], x[k], d, probe)


@counted_nowhere
def at_flow(plant, cond, coef, off, flow, back, x, d, probe):
    """`surplus` of one row, its coefficients formed."""
    around = cond.pressure[plant.network.volume.size]
    x[off.flow] = flow
    x[off.speed] = coef.fan[0].reference if coef.fan[0].reference > 0.0 else 1.0
    x[0] = around
    if math.isnan(back):
        still(plant, coef, cond, off, x, d, probe, 0, 0.05 * around, 8.0 * around)
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
    beyond. The slope falls with the state.

    Chandrupatla's search: inverse quadratic interpolation where it is safe, bisection elsewhere
    (Adv. Eng. Software 28 (1997) 145).
    """
    x[i] = high
    network.slopes_called(plant, coef, cond, off, x, d, probe)
    b, fb = high, d[i]
    x[i] = low
    network.slopes_called(plant, coef, cond, off, x, d, probe)
    a, fa = low, d[i]
    if fa <= 0.0:
        return
    if fb >= 0.0:
        x[i] = high
        network.slopes_called(plant, coef, cond, off, x, d, probe)
        return
    c, fc, t = a, fa, 0.5
    for _ in range(80):
        x[i] = a + t * (b - a)
        network.slopes_called(plant, coef, cond, off, x, d, probe)
        if (d[i] > 0.0) == (fa > 0.0):
            c, fc = a, fa
        else:
            c, b = b, a
            fc, fb = fb, fa
        a, fa = x[i], d[i]
        width = abs(b - a)
        if fa == 0.0 or width <= CLOSE * (high - low):
            return
        xi = (a - b) / (c - b)
        phi = (fa - fb) / (fc - fb)
        t = 0.5
        if phi * phi < xi and (1.0 - phi) * (1.0 - phi) < 1.0 - xi:
            t = (fa / (fb - fa)) * (fc / (fb - fc)) \
                + ((c - a) / (b - a)) * (fa / (fc - fa)) * (fb / (fc - fb))
        least = 0.5 * CLOSE * (high - low) / width
        t = min(max(t, least), 1.0 - least)


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
