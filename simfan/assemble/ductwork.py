"""The plain air path: one fan, a discharge duct, a volume, a process; the damper on either side.

    ambient ─[inlet duct]─[fan]─[discharge duct]─[damper?]─► volume ─[damper?]─[process]─► far end
             branch "fan" (inertance)                         branch "process" (quasi-steady)
"""

from dataclasses import dataclass

import numpy as np

from simfan.kernel.layout import DAMPER, FAN, LOSS, Network
from simfan.plant.case import Case, Strategy
from simfan.plant.ductwork import ResistancePoint

NODES = ("volume", "ambient", "far end")
BRANCHES = ("fan", "process")
VOLUME, AMBIENT, FAR_END = range(3)

SMALL_PRESSURE = 2e-4
"""Of the fan's highest pressure: below it a quasi-steady branch turns linear."""
SMALL_FLOW = 5e-3
"""Of the fan's largest mass flow: over it a branch's temperature changes sides."""


@dataclass(frozen=True)
class AirPath:
    """The network and the places in it that others need."""

    network: Network
    damper_elements: tuple[int, ...]
    process_element: int
    volume_temperature: float


def air_path(case: Case, strategy: Strategy) -> AirPath:
    """The plain case as a network of two branches."""
    duct, air = case.ductwork, case.air
    damper = strategy.outlet_damper
    before = damper is not None and damper.place == "before volume"
    after = damper is not None and damper.place == "after volume"
    fan_side = [(LOSS, _loss(duct.inlet.resistance, air.density))] if duct.inlet else []
    fan_side += [(FAN, 0.0), (LOSS, _loss(duct.discharge.resistance, air.density))]
    fan_side += [(DAMPER, 0.0)] * before
    hot = duct.volume_temperature or air.temperature
    far_side = [(DAMPER, 0.0)] * after + [(LOSS, process_loss(case, hot))]
    elements = [e for e in (*fan_side, *far_side) if e != (LOSS, 0.0)]
    n_fan_side = sum(e != (LOSS, 0.0) for e in fan_side)
    kinds = np.array([kind for kind, _ in elements])
    inertance = duct.discharge.length / duct.discharge.area
    if duct.inlet:
        inertance += duct.inlet.length / duct.inlet.area
    network = Network(
        volume=np.array([duct.volume]),
        first=np.array([AMBIENT, VOLUME]),
        last=np.array([VOLUME, FAR_END]),
        inertance=np.array([inertance]),
        start=np.array([0, n_fan_side, len(elements)]),
        kind=kinds,
        index=np.zeros(len(elements), dtype=np.int64),
        quadratic=np.array([value for _, value in elements]),
        linear=np.zeros(len(elements)),
        smoothing=SMALL_PRESSURE * max(case.fan.static_pressure or case.fan.total_pressure or ()),
        band=SMALL_FLOW * case.fan.flow[-1] * case.fan.rated.density,
    )
    return AirPath(network, tuple(int(e) for e in np.flatnonzero(kinds == DAMPER)),
                   len(elements) - 1, hot)


def _loss(point: ResistancePoint | None, density: float) -> float:
    """ζ/(2A²) of a duct told by one point: Δp = k·ṁ²/ρ, ṁ = ρQ, so k = Δp/(ρQ²) [1/m⁴]."""
    return 0.0 if point is None else point.pressure / (density * point.flow**2)


def process_loss(case: Case, temperature: float) -> float:
    """ζ/(2A²) of the process [1/m⁴].

    The design point counts flow at the fan's inlet; the loss is that mass flow at the density of
    the volume at design pressure.
    """
    air, process = case.air, case.process
    flow = air.density * process.design.flow
    density = (air.barometer + process.design.pressure) / (air.gas_constant * temperature)
    return (process.design.pressure - process.fixed_pressure) * density / flow**2
