"""Elements with their actuators and sequence tables; dampers; transmitters."""

from dataclasses import dataclass
from math import exp

import numpy as np

from simfan.assemble.damper import log_loss
from simfan.kernel.layout import AT_BRANCH, AT_FAN, Actuators, Dampers, Transmitters
from simfan.plant.case import Case, Strategy
from simfan.plant.control import Control

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Element:
    """What one actuator is to the kernel."""

    name: str
    rate_up: float
    rate_down: float
    lag: float
    dead_time: float
    sequence: Points
    """(controller output, demand) breakpoints."""


def elements(case: Case, strategy: Strategy) -> list[Element]:
    """The elements a strategy moves, in the kernel's order."""
    found = []
    if damper := strategy.outlet_damper:
        found.append(Element("outlet damper", 1.0 / damper.stroke_time, 1.0 / damper.closing,
                             damper.lag, damper.dead_time, ((0.0, 0.0), (1.0, 1.0))))
    if drive := strategy.speed:
        found.append(Element("speed", 1.0 / drive.ramp_up, 1.0 / drive.ramp_down, 0.0,
                             drive.dead_time, ((0.0, drive.minimum), (1.0, drive.maximum))))
    return found


def actuators(found: list[Element], step: float) -> Actuators:
    """The kernel's table of these elements at this step [s]."""
    n = max(len(e.sequence) for e in found)
    padded = np.array([[*e.sequence, *[e.sequence[-1]] * (n - len(e.sequence))] for e in found])
    return Actuators(
        rate_up=np.array([e.rate_up for e in found]),
        rate_down=np.array([e.rate_down for e in found]),
        lag=np.array([e.lag for e in found]),
        decay=np.array([exp(-step / e.lag) if e.lag > 0.0 else 0.0 for e in found]),
        delay=np.array([round(e.dead_time / step) for e in found]),
        loop=np.zeros(len(found), dtype=np.int64),
        output=np.ascontiguousarray(padded[:, :, 0]),
        demand=np.ascontiguousarray(padded[:, :, 1]),
    )


def dampers(strategy: Strategy, places: tuple[int, ...]) -> Dampers:
    """The kernel's table of dampers; empty for a strategy without one."""
    if strategy.outlet_damper is None:
        none = np.zeros(0, dtype=np.int64)
        return Dampers(none, none, np.zeros(0), np.zeros((0, 2)), np.zeros((0, 3, 3)))
    knots, loss = log_loss(strategy.outlet_damper)
    return Dampers(np.array([0]), np.array(places), np.array([strategy.outlet_damper.area]),
                   knots[None], loss[None])


def transmitters(control: Control, density: float, process_branch: int, step: float) -> Transmitters:
    """The one flow transmitter."""
    at_fan = control.measured_at == "fan"
    return Transmitters(
        place=np.array([AT_FAN if at_fan else AT_BRANCH]),
        index=np.array([0 if at_fan else process_branch]),
        density=density,
        lag=np.array([control.transmitter.lag]),
        delay=np.array([round(control.transmitter.dead_time / step)]),
    )
