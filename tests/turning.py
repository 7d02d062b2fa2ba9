"""A rotor on the test stand: a plant run with its motor replaced, from a speed of choice."""

from dataclasses import replace
from typing import Any

import numpy as np

from simfan.assemble import Assembled
from simfan.kernel import layout
from simfan.kernel.layout import Fans, Plant, Schedule, State, Traces
from simfan.plant.case import Case
from simfan.steady.balance import settle, starting_state
from tests.plants import begin, run_from

QUICK = {"ramp_up": 1e-3, "ramp_down": 1e-3, "minimum": 0.0, "lag": 0.01}
"""A drive that hides nothing of the torque behind its ramps."""
EAGER = {"gain": 1000.0, "reset": 86400.0}
"""A controller that asks for the highest speed below its setpoint and for the lowest above it."""
STIFFER, STEP = 1e4, 0.00125


def driven(**drive: Any) -> dict[str, Any]:
    """The one strategy "speed" with such a drive and controller."""
    return {"speed": {"speed": QUICK | drive, "controller": EAGER}}


def turn(case: Case, setpoint: float, *, at_speed: bool | float, airless: bool = False,
         isolated: bool = False, **rotors: Any) -> tuple[np.ndarray, Traces, Plant]:
    """(time, traces, plant) from rated speed on its system, from standstill, or from a speed
    without flow; behind a shut isolation damper, if wanted.

    Air is taken to its incompressible limit, for closed forms that know none of its compression.
    `rotors` replaces fields of the kernel's rotor table. `airless` takes the torque off the wheel.
    """
    assembled, plan, traces = begin(case, "speed", STEP, STEP)
    assembled, plan = _incompressible(assembled, plan, case)
    state = _running(assembled, case) if at_speed is True else _standing(assembled)
    if at_speed is not True:
        state.moving[2] = float(at_speed)
    if isolated:
        plan.shutter[:] = state.shutter[:] = 0.0
    table = assembled.plant.rotors
    plant = assembled.plant._replace(
        rotors=table._replace(each=layout.changed(table.each, **rotors)))
    if airless:
        plant = plant._replace(fans=_without_torque(plant.fans))
    plan.setpoint[:] = setpoint
    assert run_from(replace(assembled, plant=plant), plan, traces, state) == layout.DONE
    return STEP * np.arange(traces.speed_ratio.shape[0]), traces, plant


def _incompressible(assembled: Assembled, plan: Schedule, case: Case) -> tuple[Assembled, Schedule]:
    """Barometer and gas constant up, density and speed of sound kept: Δp/p vanishes."""
    plant, design, rho = assembled.plant, case.process.design, case.air.density
    element = plant.network.element.copy()
    element.quadratic[assembled.path.process_element] = (
        design.pressure - case.process.fixed_pressure) / (rho * design.flow**2)
    raised = (STIFFER - 1.0) * case.air.barometer
    plant = plant._replace(
        gas=layout.Gas(plant.gas.R * STIFFER, plant.gas.gamma / STIFFER),
        network=plant.network._replace(element=element))
    base = assembled.base._replace(pressure=assembled.base.pressure + raised)
    return (replace(assembled, plant=plant, base=base),
            plan._replace(pressure=plan.pressure + raised))


def _running(assembled: Assembled, case: Case) -> State:
    """Settled at the highest speed of the drive."""
    return starting_state(assembled, settle(assembled, 1.0), case.run.starts_at)


def _standing(assembled: Assembled) -> State:
    """At standstill, no flow, no pressure."""
    state = layout.rest(assembled.plant)
    state.moving[0] = assembled.base.pressure[0, 1]
    return state


def _without_torque(fans: Fans) -> Fans:
    cells, reverse, runout = fans.cells.copy(), fans.reverse.copy(), fans.runout.copy()
    cells[..., 4:] = 0.0
    reverse[..., 3:] = 0.0
    runout[..., 3:] = 0.0
    return fans._replace(cells=cells, reverse=reverse, runout=runout,
                         backward=np.zeros_like(fans.backward))


def crossing(time: np.ndarray, value: np.ndarray, level: float) -> float:
    """First time at which a monotone trace passes a level [s], between samples."""
    k = int(np.flatnonzero((value[:-1] - level) * (value[1:] - level) <= 0.0)[0])
    return float(time[k] + (level - value[k]) / (value[k + 1] - value[k]) * (time[1] - time[0]))
