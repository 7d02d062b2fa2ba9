"""A segment of a run: sense, decide, move, flow, record.

Time is counted in steps. All memory is in the state, so a run cut into segments gives the bits of
the whole.
"""

import math

import numpy as np

from simfan.kernel import control, decide, devices, drive, fan, network, protect, shutter
from simfan.kernel.layout import (
    CULPRIT,
    DONE,
    FROZEN,
    LOST_LOW,
    NOT_FINITE,
    OUTPUT_OF,
    STIFF,
    TICK,
    WELL,
    Conditions,
    compiled,
    counted_nowhere,
    inlined,
    new_coefficients,
    new_probe,
    offsets,
)


def advance(plant, schedule, state, traces, until):
    """Run from the state's tick to `until`, recording on the way. Returns how it ended.

    At the plant's last tick the final sample is recorded. Traces shorter than the run are a ring:
    sample k stands in row k modulo their length.
    """
    n = state.moving.size
    return enter(plant, schedule, state, traces, until, new_probe(plant), new_coefficients(plant),
                 np.zeros(state.position.size), np.zeros(n), np.zeros(n), np.zeros(n))


@compiled
def enter(plant, schedule, state, traces, until, probe, coef, middle, d, stage, total):
    """The door from Python into `run`."""
    return run(plant, schedule, state, traces, until, probe, coef, middle, d, stage, total)


@counted_nowhere
def run(plant, schedule, state, traces, until, probe, coef, middle, d, stage, total):
    """`advance` with its working memory given."""
    off = offsets(plant)
    every_step = sees_every_step(plant.transmitters)
    waits = delays_some(plant.transmitters)
    cond = conditions(schedule, state.counts[TICK] // plant.scan_steps)
    bound(plant, cond, probe)
    warming = warms(plant, schedule, state.counts[TICK] // plant.scan_steps)
    protect.supply(plant, state, cond, coef)
    for tick in range(state.counts[TICK], until + (until == plant.last_tick)):
        at_scan = tick % plant.scan_steps == 0
        at_record = tick % plant.record_steps == 0
        if at_scan:
            cond = conditions(schedule, tick // plant.scan_steps)
            bound(plant, cond, probe)
            warming = warms(plant, schedule, tick // plant.scan_steps)
            protect.supply(plant, state, cond, coef)
        if at_scan or at_record or every_step:
            look(plant, coef, cond, off, state, d, probe)
        if at_scan or waits:
            sense(plant, off, state, coef, cond, probe, tick)
        if at_scan:
            protect.watch(plant, coef, probe, state, tick)
            decide.decide(plant, state, cond)
            if not finite(state):
                return NOT_FINITE
        if at_record:
            k = tick // plant.record_steps % traces.setpoint.shape[0]
            record(plant, off, state, coef, cond, probe, traces, k)
        if tick == until:
            break
        if warming:
            warm(plant, schedule, state, tick // plant.scan_steps, at_scan)
        move(plant, state, cond, middle, tick)
        swing(plant, state, cond, coef)
        stiff = network.form(plant, cond, middle, state.moving[off.flow:off.speed], coef,
                             plant.step)
        state.counts[STIFF] += min(stiff, 1)
        flow(plant, coef, cond, off, state.moving, d, stage, total, probe)
        state.counts[TICK] = tick + 1
    return DONE


@inlined
def conditions(schedule, scan):
    """What the timeline prescribes at this scan."""
    return Conditions(schedule.setpoint[scan], schedule.manual[scan], schedule.noise[scan],
                      schedule.forced[scan], schedule.pressure[scan],
                      schedule.temperature[scan], schedule.factor[scan],
                      schedule.power[scan], schedule.reading[scan], schedule.bias[scan],
                      schedule.slow[scan], schedule.offset[scan], schedule.shutter[scan])


@inlined
def bound(plant, cond, probe):
    """Prescribed pressures of the boundary nodes."""
    for i in range(plant.network.volume.size, probe.pressure.size):
        probe.pressure[i] = cond.pressure[i]


@counted_nowhere
def warms(plant, schedule, scan):
    """Whether a prescribed temperature of a volume changes at this scan."""
    if scan > 0:
        for i in range(plant.network.volume.size):
            if schedule.temperature[scan - 1, i] != schedule.temperature[scan, i]:
                return True
    return False


@counted_nowhere
def warm(plant, schedule, state, scan, first_step):
    """A prescribed temperature that changes moves the pressure of its volume, dp = (p/T)·dT, in
    equal shares over the steps of its scan; what the volume took in before is booked first."""
    for i in range(plant.network.volume.size):
        before, now = schedule.temperature[scan - 1, i], schedule.temperature[scan, i]
        if before != now:
            if first_step:
                capacity = plant.network.volume[i] / (plant.gas.gamma * plant.gas.R * before)
                state.volume[i].stored += capacity * (state.moving[i] - state.volume[i].anchor)
                state.volume[i].anchor = state.moving[i]
            moved = state.moving[i] * (now / before - 1.0) / plant.scan_steps
            state.moving[i] += moved
            state.volume[i].anchor += moved


@counted_nowhere
def sees_every_step(transmitters):
    """Whether a transmitter has dead time but no lag, and so must look at every step."""
    for i in range(transmitters.size):
        if transmitters[i].lag <= 0.0 and transmitters[i].delay > 0:
            return True
    return False


@counted_nowhere
def delays_some(transmitters):
    """Whether any transmitter has dead time, and so keeps a queue of every step."""
    for i in range(transmitters.size):
        if transmitters[i].delay > 0:
            return True
    return False


@inlined
def look(plant, coef, cond, off, state, d, probe):
    """Pass through the equations once as things stand, for what is not a state."""
    for i in range(plant.shutters.size):
        coef.shutter[i] = state.shutter[i]
    network.form_called(plant, cond, state.position, state.moving[off.flow:off.speed], coef,
                        plant.step)
    network.slopes_called(plant, coef, cond, off, state.moving, d, probe)


@counted_nowhere
def sense(plant, off, state, coef, cond, probe, tick):
    """What each transmitter shows now: lagged in the equations, then delayed, then as a signal."""
    transmitters = plant.transmitters
    at_scan = tick % plant.scan_steps == 0
    for i in range(transmitters.size):
        if not at_scan and transmitters[i].delay == 0:
            continue
        if transmitters[i].lag > 0.0:
            value = state.moving[off.reading + i]
        else:
            value = network.sensed(plant, coef, cond, probe, i)
        if transmitters[i].place == OUTPUT_OF:
            value = state.loop[transmitters[i].index].output
        value = devices.delayed(state.reading_queue[i], tick, transmitters[i].delay, value)
        if at_scan:
            show(plant, state, cond, i, value)


@counted_nowhere
def show(plant, state, cond, i, value):
    """The value as the controller gets it, and the derivative on it."""
    transmitters, loops = plant.transmitters, plant.loops
    low, span, root = transmitters[i].low, transmitters[i].span, transmitters[i].root
    x = devices.raw((value - low) / span, root, cond.noise[i] + cond.bias[i],
                    transmitters[i].quantum)
    reading = low + span * devices.extracted(x, root, transmitters[i].cut_off)
    if cond.reading[i] != WELL:
        reading = failed(cond.reading[i], low, span, state.loop[i].reading)
    state.loop[i].derivative = control.derivative(
        state.loop[i].derivative, reading / span, state.loop[i].reading / span,
        loops[i].derivative, loops[i].derivative_decay)
    state.loop[i].reading = reading


@inlined
def failed(how, low, span, last):
    """What a transmitter shows that fares ill."""
    if how == FROZEN:
        return last
    return low if how == LOST_LOW else low + span


@inlined
def move(plant, state, cond, middle, tick):
    """Every actuator through one step; `middle` is where its element stands half way. Without a
    lag it may jump, and the mean of both ends would come half a step late."""
    act = plant.actuators
    for a in range(act.each.size):
        target = devices.delayed(state.demand_queue[a], tick, act.each[a].delay, state.demand[a])
        if not math.isnan(cond.forced[a]):
            target = cond.forced[a] if cond.forced[a] >= 0.0 else state.stem[a]
        elif cond.offset[a] != 0.0:
            target = min(max(target + cond.offset[a], 0.0), 1.0)
        stem = state.stem[a]
        state.stem[a] = devices.move(
            state.stem[a], target, act.each[a].rate_up * cond.slow[a],
            act.each[a].rate_down * cond.slow[a], act.each[a].lag, act.each[a].decay, plant.step)
        before = state.position[a]
        after = devices.unstuck(
            before, devices.dragged(before, state.stem[a], act.each[a].backlash), act.each[a].stick)
        state.position[a] = after
        middle[a] = 0.5 * (before + after)
        if act.each[a].lag <= 0.0:
            half = devices.move(stem, target, act.each[a].rate_up * cond.slow[a],
                                act.each[a].rate_down * cond.slow[a], 0.0, 0.0, 0.5 * plant.step)
            middle[a] = devices.unstuck(
                before, devices.dragged(before, half, act.each[a].backlash), act.each[a].stick)


@inlined
def swing(plant, state, cond, coef):
    """Every isolation and check damper through one step; the air sees where it is half way."""
    flows = plant.network.volume.size
    for i in range(plant.shutters.size):
        before = state.shutter[i]
        state.shutter[i] = shutter.moved(plant.shutters[i], before, cond.shutter[i],
                                         state.moving[flows + plant.shutters[i].branch], plant.step)
        coef.shutter[i] = 0.5 * (before + state.shutter[i])


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


@counted_nowhere
def finite(state):
    """Whether all integrated states are finite; notes the first that is not."""
    for i in range(state.moving.size):
        if not math.isfinite(state.moving[i]):
            state.counts[CULPRIT] = i
            return False
    return True


@inlined
def record(plant, off, state, coef, cond, probe, traces, k):
    """Write sample k of every trace."""
    network.note_drops(plant, coef, cond, probe)
    x = state.moving
    for i in range(plant.loops.size):
        traces.setpoint[k, i] = cond.setpoint[i]
        if plant.loops[i].source >= 0:
            traces.setpoint[k, i] = (plant.transmitters[i].low + plant.transmitters[i].span
                                     * state.loop[plant.loops[i].source].output)
        traces.measured_value[k, i] = state.loop[i].reading
        traces.true_value[k, i] = network.true_value(plant, coef, cond, probe, i)
        if plant.transmitters[i].place == OUTPUT_OF:
            traces.true_value[k, i] = state.loop[plant.transmitters[i].index].output
        traces.controller_output[k, i] = state.loop[i].output
    for a in range(state.position.size):
        traces.element_demand[k, a] = state.demand[a]
        traces.element_position[k, a] = state.position[a]
        traces.element_pressure[k, a] = 0.0
    for i in range(plant.dampers.each.size):
        louvre = plant.dampers.each[i]
        traces.element_pressure[k, louvre.actuator] = probe.drop[louvre.element]
    for i in range(plant.shutters.size):
        traces.shutter_position[k, i] = state.shutter[i]
    for i in range(plant.inlets.size):
        traces.element_pressure[k, plant.inlets[i].actuator] = probe.drop[plant.inlets[i].element]
    for i in range(plant.fans.each.size):
        record_fan(plant, state, i, x[off.speed + i], coef.fan[i].power, probe, traces, k)
    for j in range(probe.flow.size):
        traces.mass_flow[k, j] = probe.flow[j]
    for j in range(probe.pressure.size):
        traces.node_pressure[k, j] = probe.pressure[j]


@inlined
def record_fan(plant, state, i, n, power, probe, traces, k):
    """The part of sample k that belongs to one fan and its motor."""
    rotors = plant.rotors
    w = rotors.each[i].rated_speed
    torque = probe.fan[i].motor_torque
    traces.fan_flow[k, i] = probe.fan[i].flow
    traces.fan_pressure[k, i] = probe.fan[i].rise
    traces.fan_density[k, i] = probe.fan[i].density
    y = 1.0
    if plant.fans.each[i].inlet >= 0:
        y = network.opening(plant.actuators, plant.fans.each[i].inlet, state.position)
    traces.stall_flow[k, i] = fan.stall_flow(plant.fans, i, n, y)
    traces.speed_ratio[k, i] = n
    traces.shaft_power[k, i] = probe.fan[i].torque * n * w
    traces.motor_load[k, i] = drive.load_share(rotors, i, n, torque)
    traces.electrical_power[k, i] = power * drive.electrical_power(rotors, i, n, torque)
