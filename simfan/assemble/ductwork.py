"""The plain air path: one fan, ducts, a volume, a process.

    volume on the discharge side

    ambient ─[filter]─[duct]─[vanes]─[fan]─[duct]─[check?]─[isolation?]─[damper?]─► volume ─ …
        … ─[damper?]─[process]─► far end
             branch "fan" (inertance)                          branch "process" (quasi-steady)

    volume on the inlet side, as a furnace with an induced draft fan

    far end ─[process]─► volume ─[filter]─[inlet duct]─[vanes]─[fan]─[duct]─[damper]─► ambient
    branch "process"              branch "fan" (inertance)
"""

from dataclasses import dataclass

import numpy as np

from simfan.kernel.layout import (
    BRANCH,
    DAMPER,
    ELEMENT,
    FAN,
    INLET,
    LOSS,
    SHUTTER,
    SHUTTER_ELEMENT,
    Network,
    rows,
)
from simfan.plant.case import Case, Strategy
from simfan.plant.ductwork import Ductwork, ResistancePoint

NODES = ("volume", "ambient", "far end")
BRANCHES = ("fan", "process")
VOLUME, AMBIENT, FAR_END = range(3)
FAN_BRANCH = 0

SMALL_PRESSURE = 2e-4
"""Of the fan's highest pressure: below it a quasi-steady branch turns linear."""
SMALL_FLOW = 5e-3
"""Of the fan's largest mass flow: over it a branch's temperature changes sides."""


@dataclass(frozen=True)
class AirPath:
    """The network and the places in it that others need."""

    network: Network
    damper_element: int
    inlet_element: int
    filter_element: int
    """-1 where there is none."""
    process_element: int
    gas_temperature: float
    """Of the volume [K]."""


def air_path(case: Case, strategy: Strategy) -> AirPath:
    """The plain case as a network of two branches."""
    duct = case.ductwork
    hot = duct.volume_temperature or case.air.temperature
    fan_side = _fan_side(case, strategy)
    far_side = [("process", LOSS, process_loss(case, hot))]
    if strategy.outlet_damper and strategy.outlet_damper.place == "after volume":
        far_side.insert(0, ("damper", DAMPER, 0.0))
    elements = [*fan_side, *far_side]
    names = [name for name, _, _ in elements]

    def place(name: str) -> int:
        return names.index(name) if name in names else -1

    before = on_inlet(case)
    network = Network(
        volume=np.array([duct.volume]),
        branch=rows(BRANCH, first=[VOLUME, FAR_END] if before else [AMBIENT, VOLUME],
                    last=[AMBIENT, VOLUME] if before else [VOLUME, FAR_END]),
        inertance=np.array([sum(d.length / d.area for d in (duct.inlet, duct.discharge) if d)]),
        start=np.array([0, len(fan_side), len(elements)]),
        element=rows(ELEMENT, kind=[kind for _, kind, _ in elements],
                     index=[_number(duct, name) for name in names],
                     quadratic=[value for _, _, value in elements],
                     linear=np.zeros(len(elements))),
        smoothing=SMALL_PRESSURE * max(case.fan.static_pressure or case.fan.total_pressure or ()),
        band=SMALL_FLOW * case.fan.flow[-1] * case.fan.rated.density,
        push=_push(case),
    )
    return AirPath(network, place("damper"), place("inlet"), place("filter"), place("process"), hot)


def shutters(duct: Ductwork) -> np.recarray:
    """(n,) records of the isolation and the check damper, if there are any."""
    found = list(duct.shutters.values())
    return rows(
        SHUTTER_ELEMENT, branch=[FAN_BRANCH] * len(found),
        area=[s.area or duct.discharge.area for s in found],
        loss=[s.open_loss for s in found], leakage=[s.leakage for s in found],
        rate_up=[1.0 / s.stroke_time for s in found],
        rate_down=[1.0 / s.stroke_time for s in found])


def _number(duct: Ductwork, name: str) -> int:
    """Row of an element in the table of its kind."""
    return list(duct.shutters).index(name) if name in duct.shutters else 0


def _push(case: Case) -> float:
    """Fan and process together [Pa], where a flow may start from zero; else none."""
    if not (case.ductwork.shutters or case.run.from_standstill or case.procedures):
        return 0.0
    return (max(case.fan.static_pressure or case.fan.total_pressure or ())
            + abs(case.process.fixed_pressure))


def on_inlet(case: Case) -> bool:
    """Whether the volume lies before the fan."""
    return case.ductwork.volume_side == "inlet"


def inlet_density(case: Case) -> float:
    """ρ [kg/m³] of the gas where the fan's branch begins."""
    if on_inlet(case):
        hot = case.ductwork.volume_temperature or case.air.temperature
        return case.air.barometer / (case.air.gas_constant * hot)
    return case.air.density


def _fan_side(case: Case, strategy: Strategy) -> list[tuple[str, int, float]]:
    """(name, kind, ζ/(2A²)) of the fan's branch, along the flow."""
    duct, rho = case.ductwork, inlet_density(case)
    element = strategy.inlet_vanes or strategy.inlet_box_damper
    damper = strategy.outlet_damper
    found = [("filter", LOSS, _loss(duct.inlet_filter, rho)),
             ("inlet duct", LOSS, _loss(duct.inlet.resistance if duct.inlet else None, rho))]
    if element is not None and not element.family:
        found.append(("inlet", INLET, 0.0))
    found += [("fan", FAN, 0.0), ("duct", LOSS, _loss(duct.discharge.resistance, rho))]
    found += [(name, SHUTTER, 0.0) for name in duct.shutters]
    if damper and damper.place != "after volume":
        found.append(("damper", DAMPER, 0.0))
    return [row for row in found if row[1:] != (LOSS, 0.0)]


def _loss(point: ResistancePoint | None, density: float) -> float:
    """ζ/(2A²) of a duct told by one point: Δp = k·ṁ²/ρ, ṁ = ρQ, so k = Δp/(ρQ²) [1/m⁴]."""
    return 0.0 if point is None else point.pressure / (density * point.flow**2)


def process_loss(case: Case, temperature: float) -> float:
    """ζ/(2A²) of the process [1/m⁴].

    The design point counts flow at the fan's inlet; the loss is that mass flow at the density where
    the process's branch begins: the volume at design pressure, or, with the volume on the inlet
    side, the far end.
    """
    air, process = case.air, case.process
    flow = inlet_density(case) * process.design.flow
    if on_inlet(case):
        pressure, taken = process.fixed_pressure, process.fixed_pressure - process.design.pressure
    else:
        pressure, taken = process.design.pressure, process.design.pressure - process.fixed_pressure
    return taken * (air.barometer + pressure) / (air.gas_constant * temperature) / flow**2
