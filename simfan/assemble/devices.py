"""Elements with their actuators and sequence tables; transmitters."""

from dataclasses import dataclass
from math import exp

import numpy as np

from simfan.assemble.sequence import Points, sequence
from simfan.kernel.layout import ACTUATOR, Actuators, rows
from simfan.plant.case import Case, Strategy
from simfan.plant.devices import Actuator

STRAIGHT = ((0.0, 0.0), (1.0, 1.0))
DRIVE = ((0.0, 0.0), (2.0, 2.0))


@dataclass(frozen=True)
class Element:
    """What one actuator is to the kernel."""

    name: str
    rate_up: float
    rate_down: float
    sequence: Points
    """(controller output, demand) breakpoints."""
    lag: float = 0.0
    dead_time: float = 0.0
    backlash: float = 0.0
    stick: float = 0.0
    linkage: Points = DRIVE
    """(position, opening)"""
    skip: tuple[float, float] = (0.0, 0.0)
    fails: float = float("nan")
    """Where it goes without air; negative: it stays; nan: it needs none."""


def elements(case: Case, strategy: Strategy) -> list[Element]:
    """The elements a strategy moves, in the kernel's order: dampers and vanes, then speed."""
    tables = sequence(strategy)
    found = [_stroked(name, device, tables[name]) for name, device in (
        ("outlet damper", strategy.outlet_damper), ("inlet box damper", strategy.inlet_box_damper),
        ("inlet vanes", strategy.inlet_vanes)) if device is not None]
    if drive := strategy.speed:
        found.append(Element("speed", 1.0 / drive.ramp_up, 1.0 / drive.ramp_down, tables["speed"],
                             dead_time=drive.dead_time,
                             skip=(drive.skip.low, drive.skip.high) if drive.skip else (0.0, 0.0)))
    return found


def _stroked(name: str, device: Actuator, table: Points) -> Element:
    """An element with a stroke."""
    linkage = device.linkage
    points = tuple(zip(linkage.position, linkage.opening, strict=True)) if linkage else STRAIGHT
    return Element(name, 1.0 / device.stroke_time, 1.0 / device.closing, table, device.lag,
                   device.dead_time, device.backlash, device.resolution, points,
                   fails={"open": 1.0, "shut": 0.0, "stays": -1.0}[device.fails])


def actuators(found: list[Element], step: float, loop: list[int] | None = None) -> Actuators:
    """The kernel's table of these elements at this step [s]; `loop` says which one moves each, the
    first where it is left out."""
    tables = _padded([e.sequence for e in found])
    each = rows(
        ACTUATOR,
        rate_up=[e.rate_up for e in found],
        rate_down=[e.rate_down for e in found],
        lag=[e.lag for e in found],
        decay=[exp(-step / e.lag) if e.lag > 0.0 else 0.0 for e in found],
        delay=[round(e.dead_time / step) for e in found],
        backlash=[e.backlash for e in found],
        stick=[e.stick for e in found],
        skip_low=[e.skip[0] for e in found],
        skip_high=[e.skip[1] for e in found],
        loop=loop or np.zeros(len(found)),
    )
    linkage = _padded([e.linkage for e in found]).transpose(0, 2, 1)
    return Actuators(each, np.ascontiguousarray(linkage),
                     np.ascontiguousarray(tables[:, :, 0]), np.ascontiguousarray(tables[:, :, 1]))


def _padded(rows: list[Points]) -> np.ndarray:
    """(n, longest, 2) with the last point repeated."""
    n = max(len(row) for row in rows)
    return np.array([[*row, *[row[-1]] * (n - len(row))] for row in rows])
