"""A direct start on the line: how long, and how hot."""

from dataclasses import dataclass

import numpy as np

from simfan.assemble import Assembled, assemble
from simfan.kernel import advance, entry, layout
from simfan.kernel.layout import Schedule
from simfan.plant.case import Case
from simfan.plant.drive import Motor, inertia_limit
from simfan.steady.bench import Bench

LONGEST = 120.0
"""A start is followed for so long [s]."""
UP = 0.98
"""Of synchronous speed: the start is over."""
STEP = 0.005


@dataclass(frozen=True)
class Start:
    """A direct start with the elements where a controller output of zero puts them."""

    time: float | None
    """To 98 % of synchronous speed [s]; None where the motor does not get there in 120 s."""
    rotor_heat: float
    """∫ T·(ω_s − ω) dt [J]; ½Jω_s² without load."""
    locked_time: float
    """The time [s] locked at standstill that would heat the rotor as much."""


def direct_start(case: Case, name: str) -> Start:
    """Start strategy `name` on the line with its elements at a controller output of zero."""
    run = case.run.model_copy(update={"duration": round(LONGEST / case.control.scan)
                                      * case.control.scan})
    divisions = max(1, round(case.control.scan / STEP))
    assembled = assemble(case.model_copy(update={"run": run, "timeline": ()}), name,
                         case.control.scan / divisions, case.control.scan / divisions)
    plant, rotor = assembled.plant, assembled.plant.rotors.each[0]
    traces = layout.traces(plant)
    advance.advance(plant, _manual_shut(assembled), _standing(assembled), traces, plant.last_tick)
    n = traces.speed_ratio[:, 0]
    torque = traces.motor_load[:, 0] * rotor.rated_torque / np.maximum(n / rotor.base_speed, 1.0)
    slip_speed = (rotor.synchronous - n) * rotor.rated_speed
    done = np.flatnonzero(n >= UP * rotor.synchronous)
    until = int(done[0]) if done.size else n.size - 1
    heat = float(np.trapezoid((torque * slip_speed)[:until + 1], dx=plant.step))
    standstill = plant.rotors.start[0, 0] * rotor.rated_torque * rotor.synchronous
    return Start(until * plant.step if done.size else None, heat,
                 heat / float(standstill * rotor.rated_speed))


def _manual_shut(assembled: Assembled) -> Schedule:
    """First conditions for every scan, the controller in manual at zero."""
    n = assembled.plant.last_tick // assembled.plant.scan_steps + 1
    rows = Schedule(*(np.repeat(column, n, axis=0) for column in assembled.base))
    return rows._replace(manual=np.zeros_like(rows.manual))


def _standing(assembled: Assembled) -> layout.State:
    """Everything at rest: no speed, no flow, ambient pressure."""
    bench, state = Bench(assembled), layout.rest(assembled.plant)
    state.moving[:entry.begins(assembled.plant).flow] = bench.p0
    state.volume.anchor[:] = bench.p0
    shut = bench.positions(np.zeros(assembled.plant.loops.size))
    state.stem[:] = state.position[:] = state.demand[:] = shut
    state.demand_queue[:, :] = shut[:, None]
    return state


def _allowed(motor: Motor) -> str:
    """What the maker allows, hot and cold, as far as it is known."""
    times = [f"{time:.3g} s {state}" for time, state in (
        (motor.locked_rotor_time, "hot"), (motor.locked_rotor_time_cold, "cold"))
        if time is not None]
    return f", allowed {' and '.join(times)}" if times else "; what its maker allows is not given"


def start_words(case: Case, name: str) -> list[str]:
    """What a maker and a reader should know of the start; nothing for a drive."""
    if case.strategies[name].speed:
        return []
    motor, start = case.motor, direct_start(case, name)
    lines = [f"{name}: direct start with its elements shut takes {start.time:.3g} s and heats the "
             f"rotor like {start.locked_time:.3g} s locked{_allowed(motor)}"
             if start.time is not None else
             f"{name}: warning: the motor does not reach its speed in {LONGEST:.0f} s on the line"]
    if motor.locked_rotor_time is not None and start.locked_time > motor.locked_rotor_time:
        lines.append(f"{name}: warning: that is more than the {motor.locked_rotor_time:.3g} s the "
                     "maker allows hot")
    speed = motor.synchronous_speed / motor.belt_ratio
    allowed, inertia = inertia_limit(motor.rating, speed), case.fan.inertia * motor.belt_ratio**2
    if inertia > allowed:
        lines.append(f"{name}: warning: {inertia:.4g} kg m2 at the motor is more than the "
                     f"{allowed:.4g} kg m2 that NEMA MG 1 lets a motor of this rating start on the "
                     "line (formula from memory); ask the motor's maker")
    return lines
