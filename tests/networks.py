"""Networks beyond the plain case, built straight from the kernel's layout."""

from dataclasses import replace
from typing import Any, TypeVar

import numpy as np
from scipy.interpolate import PPoly

from simfan.assemble import Assembled, assemble
from simfan.kernel import layout
from tests.plants import analytic, fan, motor, plain, surge_rig

Table = TypeVar("Table", bound=tuple[Any, ...])

FLAT = PPoly(np.array([[-1.0, -1.0], [0.0, 1000.0]]), [-10.0, 0.0, 1000.0])
"""A curve for the idle fan of a plant without one; it only sets scales."""


def _twice(table: Table) -> Table:
    """The rows of a table, twice over."""
    return type(table)(*[np.concatenate([column, column]).view(type(column)) for column in table])


def pipe(length: float, area: float, pieces: int, *, closed: bool, density: float = 1.2,
         sound: float = 343.0, step: float = 1e-3, duration: float = 1.0) -> Assembled:
    """A pipe cut into equal pieces, each a volume between two halves of its inertance.

        closed:  V ─I─ V ─I─ V ─½I─ open        open:  open ─½I─ V ─I─ V ─I─ V ─½I─ open

    The last node is the open end; no fan stands in it.
    """
    rig = surge_rig(FLAT, length=1.0, area=1.0, volume=1.0, density=density, sound=sound,
                    loss=0.0, step=step, duration=duration)
    n = pieces
    first, last = np.arange(n), np.arange(1, n + 1)
    share = np.ones(n)
    share[-1] = 0.5
    if not closed:
        first, last, share = (np.append(first, n), np.append(last, 0), np.append(share, 0.5))
    network = rig.plant.network._replace(
        volume=np.full(n, area * length / n),
        branch=layout.rows(layout.BRANCH, first=first, last=last),
        inertance=share * length / n / area, start=np.zeros(first.size + 1, dtype=np.int64),
        element=layout.blank(layout.ELEMENT, 0))
    return _of(rig, rig.plant._replace(network=network), n + 1)


def chain(pieces: int, step: float, duration: float) -> Assembled:
    """Fan B, then a duct of lossy inertance-volume pieces, then a resistance: `pieces` + 2
    branches."""
    rig = surge_rig(analytic("B"), length=20.0, area=4.0, volume=60.0, density=1.2, sound=343.0,
                    loss=0.0, step=step, duration=duration)
    n = pieces + 1
    nodes = np.append(np.arange(n), n)
    loss = np.concatenate([[0.0], np.full(pieces, 0.02), [1.5]])
    network = rig.plant.network._replace(
        volume=np.full(n, 600.0),
        branch=layout.rows(layout.BRANCH, first=np.roll(nodes, 1), last=nodes),
        inertance=np.full(n, 5.0), start=np.arange(n + 2),
        element=_elements([layout.FAN] + [layout.LOSS] * n, loss))
    return _of(rig, rig.plant._replace(network=network), n + 1)


def _elements(kinds: list[int], loss: np.ndarray | list[float]) -> np.recarray:
    """One element for each kind; fans are counted."""
    number = np.cumsum([kind == layout.FAN for kind in kinds]) - 1
    index = np.where(np.equal(kinds, layout.FAN), number, 0)
    return layout.rows(layout.ELEMENT, kind=kinds, index=index, quadratic=loss, linear=0.0)


def _of(rig: Assembled, plant: layout.Plant, n_nodes: int) -> Assembled:
    """The rig with another plant, the same pressure and temperature at every node."""
    p, T = rig.base.pressure[0, 0], rig.base.temperature[0, 0]
    base = rig.base._replace(pressure=np.full((1, n_nodes), p),
                             temperature=np.full((1, n_nodes), T),
                             factor=np.ones((1, plant.network.element.size)))
    return replace(rig, plant=plant, base=base)


def one_large_fan() -> Assembled:
    """Fan B of doubled flow on a doubled plant, speed controlled, flow measured at the process."""
    small = fan("B")
    rated = motor("B")
    options = {
        "fan": small | {"flow": [2.0 * q for q in small["flow"]],
                        "shaft_power": [2.0 * p for p in small["shaft_power"]],
                        "inertia": 2.0 * small["inertia"]},
        "motor": rated | {"rating": 2.0 * rated["rating"]},
        "ductwork": {"discharge": {"length": 20.0, "area": 8.0}, "volume": 1200.0},
        "process": {"fixed_pressure": 400.0, "design": {"flow": 90.0, "pressure": 3500.0}},
        "control": {"scan": 0.25, "measured_at": "process"},
        "strategies": {"speed": {"speed": {"ramp_up": 40.0, "ramp_down": 60.0},
                                 "controller": {"gain": 0.8, "reset": 4.0}}},
        "run": {"duration": 240.0, "starts_at": 90.0}, "timeline": [],
    }
    return assemble(plain(**options), "speed", 0.025, 0.25)


def two_fans(second: float = 1.0) -> Assembled:
    """Two fans B side by side on the doubled plant, one controller for both speeds.

    The second runs at the share `second` of the first one's speed.

        ambient ─[fan 1]─► plenum ─[process]─► far end
        ambient ─[fan 2]─►
    """
    large = one_large_fan()
    small = assemble(plain(), "speed", 0.025, 0.25).plant
    plenum, ambient, far_end = 0, 1, 2
    network = large.plant.network._replace(
        branch=layout.rows(layout.BRANCH, first=[ambient, ambient, plenum],
                           last=[plenum, plenum, far_end]),
        inertance=np.repeat(small.network.inertance, 2), start=np.arange(4),
        element=_elements([layout.FAN, layout.FAN, layout.LOSS],
                          [0.0, 0.0, large.plant.network.element.quadratic[-1]]))
    actuators, rotors = _twice(small.actuators), _twice(small.rotors)
    actuators.demand[1] *= second
    plant = large.plant._replace(
        network=network, fans=_twice(small.fans), actuators=actuators,
        transmitters=layout.changed(large.plant.transmitters, index=2, branch=2),
        rotors=rotors._replace(each=layout.changed(rotors.each, actuator=[0, 1])))
    base = large.base._replace(factor=np.ones((1, 3)), forced=np.full((1, 2), np.nan),
                               power=np.ones((1, 2)), slow=np.ones((1, 2)),
                               offset=np.zeros((1, 2)))
    return replace(large, plant=plant, base=base)
