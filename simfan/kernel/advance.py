"""A segment of a run: sense, decide, move, flow, record.

Time is counted in steps. All memory is in the state, so a run cut into segments gives the bits of
the whole.
"""

import math

import numpy as np

from simfan.kernel import control, devices, drive, fan, network, table
from simfan.kernel.layout import (
    CULPRIT,
    DONE,
    NOT_FINITE,
    OUTPUT,
    POSITION,
    STIFF,
    TICK,
    Coefficients,
    Conditions,
    Probe,
    compiled,
    counted_nowhere,
    inlined,
    offsets,
)


@compiled
def advance(plant, schedule, state, traces, until):
    """Run from the state's tick to `until`, recording on the way. Returns how it ended.

    At the plant's last tick the final sample is recorded.
    """
    n = state.moving.size
    return run(plant, schedule, state, traces, until, new_probe(plant), new_coefficients(plant),
               np.zeros(state.position.size), np.zeros(n), np.zeros(n), np.zeros(n))


@counted_nowhere
def run(plant, schedule, state, traces, until, probe, coef, middle, d, stage, total):
    """`advance` with its working memory given."""
    off = offsets(plant)
    every_step = sees_every_step(plant.transmitters)
    cond = conditions(schedule, state.count[TICK] // plant.scan_steps)
    bound(plant, cond, probe)
    for tick in range(state.count[TICK], until + (until == plant.last_tick)):
        at_scan = tick % plant.scan_steps == 0
        at_record = tick % plant.record_steps == 0
        if at_scan:
            cond = conditions(schedule, tick // plant.scan_steps)
            bound(plant, cond, probe)
            warm(schedule, state, plant.network.volume.size, tick // plant.scan_steps)
        if at_scan or at_record or every_step:
            look(plant, coef, cond, off, state, d, probe)
        sense(plant, off, state, probe, tick)
        if at_scan:
            decide(plant, state, cond)
            if not finite(state):
                return NOT_FINITE
        if at_record:
            record(plant, off, state, coef, cond, probe, traces, tick // plant.record_steps)
        if tick == until:
            break
        move(plant, state, middle, tick)
        stiff = network.form(plant, cond, middle, state.moving[off.flow:off.speed], coef,
                             plant.step)
        state.count[STIFF] += min(stiff, 1)
        flow(plant, coef, cond, off, state.moving, d, stage, total, probe)
        state.count[TICK] = tick + 1
    return DONE


@compiled
def new_probe(plant):
    """An empty probe of this plant's shape."""
    net = plant.network
    n_fans = plant.fans.low.size
    n_nodes = max(net.first.max(), net.last.max()) + 1
    return Probe(np.zeros(n_nodes), np.zeros(net.first.size), np.zeros(net.kind.size),
                 np.zeros(n_fans), np.zeros(n_fans), np.zeros(n_fans), np.zeros(n_fans),
                 np.zeros(n_fans))


@compiled
def new_coefficients(plant):
    """Empty coefficients of this plant's shape."""
    net = plant.network
    n_branches = net.first.size
    return Coefficients(np.zeros(net.kind.size), np.zeros(net.inertance.size),
                        np.zeros(net.volume.size), np.zeros(n_branches), np.zeros(n_branches),
                        np.zeros(n_branches), np.zeros(n_branches),
                        np.zeros(plant.fans.low.size))


@inlined
def conditions(schedule, scan):
    """What the timeline prescribes at this scan."""
    return Conditions(schedule.setpoint[scan], schedule.pressure[scan],
                      schedule.temperature[scan], schedule.factor[scan])


@inlined
def bound(plant, cond, probe):
    """Prescribed pressures of the boundary nodes."""
    for i in range(plant.network.volume.size, probe.pressure.size):
        probe.pressure[i] = cond.pressure[i]


@inlined
def warm(schedule, state, n_volumes, scan):
    """A prescribed temperature that changes moves the pressure of its volume: dp = (p/T)·dT."""
    if scan > 0:
        for i in range(n_volumes):
            ratio = schedule.temperature[scan, i] / schedule.temperature[scan - 1, i]
            if ratio != 1.0:
                state.moving[i] *= ratio


@inlined
def sees_every_step(transmitters):
    """Whether a transmitter has dead time but no lag, and so must look at every step."""
    for i in range(transmitters.lag.size):
        if transmitters.lag[i] <= 0.0 and transmitters.delay[i] > 0:
            return True
    return False


@inlined
def look(plant, coef, cond, off, state, d, probe):
    """Pass through the equations once as things stand, for what is not a state."""
    network.form(plant, cond, state.position, state.moving[off.flow:off.speed], coef, plant.step)
    network.slopes(plant, coef, cond, off, state.moving, d, probe)


@inlined
def sense(plant, off, state, probe, tick):
    """What each transmitter shows now: lagged in the equations, then delayed."""
    transmitters = plant.transmitters
    for i in range(transmitters.lag.size):
        if transmitters.lag[i] > 0.0:
            value = state.moving[off.reading + i]
        else:
            value = network.true_value(plant, probe, i)
        if transmitters.delay[i] > 0 or tick % plant.scan_steps == 0:
            value = devices.delayed(state.reading_queue[i], tick, transmitters.delay[i], value)
        if tick % plant.scan_steps == 0:
            decide_derivative(plant, state, i, value)


@inlined
def decide_derivative(plant, state, i, value):
    """The derivative on the measured value, and the value the controller now sees."""
    span = plant.loops.span[i]
    state.derivative[i] = control.derivative(
        state.derivative[i], value / span, state.reading[i] / span,
        plant.loops.derivative[i], plant.loops.derivative_decay[i])
    state.reading[i] = value


@inlined
def decide(plant, state, cond):
    """One scan of every controller, then the sequence tables."""
    loops = plant.loops
    dt = plant.step * plant.scan_steps
    for i in range(loops.gain.size):
        r = cond.setpoint[i] / loops.span[i]
        y = state.reading[i] / loops.span[i]
        u = (loops.gain[i] * (loops.weight[i] * r - y) + state.integral[i] + state.derivative[i])
        state.unlimited[i] = u
        state.output[i] = min(max(u, 0.0), 1.0)
        state.integral[i] = control.integral(
            state.integral[i], reset_signal(plant, state, i), state.derivative[i], r,
            loops.gain[i], loops.weight[i], loops.reset[i], dt)
    actuators = plant.actuators
    for a in range(actuators.loop.size):
        state.demand[a] = table.line(actuators.output[a], actuators.demand[a],
                                        state.output[actuators.loop[a]])


@inlined
def reset_signal(plant, state, i):
    """The external reset: own limited output, measured position, or (no anti-windup) neither."""
    if plant.loops.reset_from[i] == OUTPUT:
        return state.output[i]
    if plant.loops.reset_from[i] == POSITION:
        a = plant.loops.actuator[i]
        return table.line(plant.actuators.demand[a], plant.actuators.output[a],
                             state.position[a])
    return state.unlimited[i]


@inlined
def move(plant, state, middle, tick):
    """Every actuator through one step; `middle` is where it stands half way."""
    act = plant.actuators
    for a in range(act.loop.size):
        target = devices.delayed(state.demand_queue[a], tick, act.delay[a], state.demand[a])
        before = state.position[a]
        after = devices.move(before, target, act.rate_up[a], act.rate_down[a], act.lag[a],
                             act.decay[a], plant.step)
        state.position[a] = after
        middle[a] = 0.5 * (before + after)


@inlined
def flow(plant, coef, cond, off, x, d, stage, total, probe):
    """One Runge–Kutta step of fourth order on pressures, flows, speeds, lags.

        x + h/6·(k₁ + 2k₂ + 2k₃ + k₄),  stages at x, x + hk₁/2, x + hk₂/2, x + hk₃
    """
    h = plant.step
    for i in range(x.size):
        stage[i] = x[i]
        total[i] = 0.0
    for k in range(4):
        network.slopes(plant, coef, cond, off, stage, d, probe)
        weight = 2.0 if k == 1 or k == 2 else 1.0
        ahead = h if k == 2 else 0.5 * h
        for i in range(x.size):
            total[i] += weight * d[i]
            stage[i] = x[i] + ahead * d[i]
    for i in range(x.size):
        x[i] += h / 6.0 * total[i]


@inlined
def finite(state):
    """Whether all integrated states are finite; notes the first that is not."""
    for i in range(state.moving.size):
        if not math.isfinite(state.moving[i]):
            state.count[CULPRIT] = i
            return False
    return True


@inlined
def record(plant, off, state, coef, cond, probe, traces, k):
    """Write sample k of every trace."""
    network.note_drops(plant, coef, cond, probe)
    x = state.moving
    for i in range(plant.loops.gain.size):
        traces.setpoint[k, i] = cond.setpoint[i]
        traces.measured_value[k, i] = state.reading[i]
        traces.true_value[k, i] = network.true_value(plant, probe, i)
        traces.controller_output[k, i] = state.output[i]
    for a in range(state.position.size):
        traces.element_demand[k, a] = state.demand[a]
        traces.element_position[k, a] = state.position[a]
        traces.element_pressure[k, a] = 0.0
    for i in range(plant.dampers.actuator.size):
        traces.element_pressure[k, plant.dampers.actuator[i]] = probe.drop[plant.dampers.element[i]]
    for i in range(plant.fans.low.size):
        record_fan(plant, i, x[off.speed + i], probe, traces, k)
    for j in range(probe.flow.size):
        traces.mass_flow[k, j] = probe.flow[j]
    for j in range(probe.pressure.size):
        traces.node_pressure[k, j] = probe.pressure[j]


@inlined
def record_fan(plant, i, n, probe, traces, k):
    """The part of sample k that belongs to one fan and its motor."""
    rotors = plant.rotors
    w = rotors.rated_speed[i]
    torque = probe.motor_torque[i]
    traces.fan_flow[k, i] = probe.fan_flow[i]
    traces.fan_pressure[k, i] = probe.fan_rise[i]
    traces.fan_density[k, i] = probe.fan_density[i]
    traces.stall_flow[k, i] = fan.stall_flow(plant.fans, i, n)
    traces.speed_ratio[k, i] = n
    traces.shaft_power[k, i] = probe.fan_torque[i] * n * w
    traces.motor_load[k, i] = drive.load_share(rotors, i, n, torque)
    traces.electrical_power[k, i] = drive.electrical_power(rotors, i, n, torque)
