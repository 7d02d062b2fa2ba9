"""A case and one of its strategies, as the kernel takes them."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from simfan.assemble import damper, devices, ductwork, inlet, protection, structure
from simfan.assemble.drive import rotors
from simfan.assemble.fan import RatedCurve, rated_curve
from simfan.errors import Problem, ScenarioError
from simfan.kernel.layout import Actuators, Gas, Plant, Schedule
from simfan.plant.case import Case, Strategy


@dataclass(frozen=True)
class Assembled:
    """The kernel's plant with the names of its columns."""

    plant: Plant
    curve: RatedCurve
    elements: tuple[devices.Element, ...]
    items: dict[str, tuple[str, ...]]
    path: ductwork.AirPath
    base: Schedule
    """One row: conditions before any event."""
    loops: structure.Loops | None = None
    resting: Actuators | None = None
    """Where the elements rest for one place between least and most, in the tables of loop 0; None
    where that is what moves them."""


def assemble(case: Case, name: str, step: float, record: float,
             assumption: str = "nominal") -> Assembled:
    """Strategy `name` of the case at this inner step and record interval [s].

    The step divides the record interval, the record interval divides the scan. `assumption` is what
    is taken for parts of the curve the maker does not give. Raises ScenarioError with every mistake
    that needs numbers to be seen.
    """
    strategy = case.strategies[name]
    curve = rated_curve(case.fan, assumption)
    if amiss := [*_problems(case), *protection.problems(case, curve)]:
        raise ScenarioError(amiss)
    path = ductwork.air_path(case, strategy)
    found = devices.elements(case, strategy)
    names = [e.name for e in found]
    loops = structure.loops(case, strategy, path, tuple(names), step)
    in_inlet = strategy.inlet_vanes or strategy.inlet_box_damper
    vanes = next((i for i, n in enumerate(names) if n.startswith("inlet")), -1)
    plant = Plant(
        gas=Gas(case.air.gas_constant, case.air.heat_capacity_ratio),
        network=path.network,
        fans=inlet.fan_table(case.fan, curve, in_inlet, vanes, assumption),
        rotors=rotors(case.fan, case.motor, strategy.speed,
                      names.index("speed") if strategy.speed else -1),
        dampers=damper.table(strategy.outlet_damper, 0, path.damper_element),
        inlets=inlet.inlets(case.fan, curve, in_inlet, vanes, path.inlet_element),
        shutters=ductwork.shutters(case.ductwork),
        actuators=devices.actuators(found, step, loops.moving(tuple(names))),
        transmitters=loops.transmitters,
        loops=loops.records(tuple(names)),
        feeds=np.zeros((len(loops.parts), 2, 1)),
        guards=protection.guards(case, path, curve, loops.hand),
        step=step,
        scan_steps=round(case.control.scan / step),
        record_steps=round(record / step),
        last_tick=round(case.run.duration / step),
    )
    items = {"loop": tuple(p.name for p in loops.parts), "element": tuple(names),
             "shutter": tuple(case.ductwork.shutters), "fan": ("fan",),
             "branch": ductwork.BRANCHES, "node": ductwork.NODES}
    return Assembled(plant, curve, tuple(found), items, path,
                     _conditions(case, path, loops, len(found)), loops,
                     _resting(strategy, found, step, any(loops.moving(tuple(names)))))


def _resting(strategy: Strategy, found: list[devices.Element], step: float, apart: bool
             ) -> Actuators | None:
    real = {e.name: e.sequence for e in found}
    tables = structure.resting_sequence(strategy, real)
    if tables is real and not apart:
        return None
    return devices.actuators([replace(e, sequence=tables[e.name]) for e in found], step)


def _problems(case: Case) -> Iterator[Problem]:
    """Mistakes of the second stage, in every strategy at once."""
    if case.fan.stall_flow is not None and case.fan.stall_flow > case.fan.flow[-1]:
        yield Problem(("fan", "stall_flow"), f"{case.fan.stall_flow:g} m3/s",
                      f"a flow within the points, up to {case.fan.flow[-1]:g} m3/s")
    for name, strategy in case.strategies.items():
        if strategy.outlet_damper:
            yield from damper.problems(strategy.outlet_damper,
                                       ("strategies", name, "outlet_damper"))


def _conditions(case: Case, path: ductwork.AirPath, loops: structure.Loops, n_elements: int
                ) -> Schedule:
    """The conditions before any event."""
    air, n_loops = case.air, len(loops.parts)
    return Schedule(
        setpoint=np.array([[float(case.run.first_setpoint),
                            *(p.setpoint for p in loops.parts[1:])]]),
        manual=np.full((1, n_loops), np.nan),
        noise=np.zeros((1, n_loops)),
        forced=np.full((1, n_elements), np.nan),
        pressure=np.array([[air.barometer, air.barometer,
                            air.barometer + case.process.fixed_pressure]]),
        temperature=np.array([[path.gas_temperature, air.temperature, path.gas_temperature]]),
        factor=np.ones((1, path.network.element.size)),
        power=np.ones((1, 1)), reading=np.zeros((1, n_loops)), bias=np.zeros((1, n_loops)),
        slow=np.ones((1, n_elements)), offset=np.zeros((1, n_elements)),
        shutter=np.array([[np.nan if name == "check damper" else 1.0
                           for name in case.ductwork.shutters]]),
    )
