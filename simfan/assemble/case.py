"""A case and one of its strategies, as the kernel takes them."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from simfan.assemble import control, damper, devices, ductwork
from simfan.assemble.drive import rotors
from simfan.assemble.fan import RatedCurve, fan_table, rated_curve
from simfan.errors import Problem, ScenarioError
from simfan.kernel.layout import Gas, Plant, Schedule
from simfan.plant.case import Case, Strategy


@dataclass(frozen=True)
class Assembled:
    """The kernel's plant with the names of its columns."""

    plant: Plant
    curve: RatedCurve
    elements: tuple[devices.Element, ...]
    items: dict[str, tuple[str, ...]]
    process_element: int
    base: Schedule
    """One row: conditions at time zero."""


def assemble(case: Case, name: str, step: float, record: float) -> Assembled:
    """Strategy `name` of the case at this inner step and record interval [s].

    The step divides the record interval, the record interval divides the scan. Raises
    ScenarioError with every mistake that needs numbers to be seen.
    """
    strategy = case.strategies[name]
    if found := [*_problems(case)]:
        raise ScenarioError(found)
    curve = rated_curve(case.fan)
    path = ductwork.air_path(case, strategy)
    found = devices.elements(case, strategy)
    speed = next((i for i, e in enumerate(found) if e.name == "speed"), -1)
    plant = Plant(
        gas=Gas(case.air.gas_constant, case.air.heat_capacity_ratio),
        network=path.network,
        fans=fan_table(case.fan, curve),
        rotors=rotors(case.fan, case.motor, strategy.speed, speed),
        dampers=devices.dampers(strategy, path.damper_elements),
        actuators=devices.actuators(found, step),
        transmitters=devices.transmitters(case.control, case.air.density,
                                          ductwork.BRANCHES.index("process"), step),
        loops=control.loops(case, strategy),
        step=step,
        scan_steps=round(case.control.scan / step),
        record_steps=round(record / step),
        last_tick=round(case.run.duration / step),
    )
    items = {"loop": (case.control.holds,), "element": tuple(e.name for e in found),
             "fan": ("fan",), "branch": ductwork.BRANCHES, "node": ductwork.NODES}
    return Assembled(plant, curve, tuple(found), items, path.process_element,
                     _conditions(case, strategy, path))


def _problems(case: Case) -> Iterator[Problem]:
    """Mistakes of the second stage, in every strategy at once."""
    if case.fan.stall_flow is not None and case.fan.stall_flow > case.fan.flow[-1]:
        yield Problem(("fan", "stall_flow"), f"{case.fan.stall_flow:g} m3/s",
                      f"a flow within the points, up to {case.fan.flow[-1]:g} m3/s")
    for name, strategy in case.strategies.items():
        if strategy.outlet_damper:
            yield from damper.problems(strategy.outlet_damper,
                                       ("strategies", name, "outlet_damper"))


def _conditions(case: Case, strategy: Strategy, path: ductwork.AirPath) -> Schedule:
    """The conditions before any event."""
    air = case.air
    return Schedule(
        setpoint=np.array([[case.run.starts_at]]),
        pressure=np.array([[air.barometer, air.barometer,
                            air.barometer + case.process.fixed_pressure]]),
        temperature=np.array([[path.volume_temperature, air.temperature,
                               path.volume_temperature]]),
        factor=np.ones((1, path.network.kind.size)),
    )


def schedule(assembled: Assembled, case: Case, setpoint: np.ndarray, resistance: np.ndarray,
             fixed_pressure: np.ndarray) -> Schedule:
    """Conditions of every scan from what the timeline played, each (n_scans,).

    `resistance` is a factor on the process's design resistance, `fixed_pressure` is gauge [Pa].
    """
    n = setpoint.size
    base = assembled.base
    pressure = np.repeat(base.pressure, n, axis=0)
    pressure[:, ductwork.FAR_END] = case.air.barometer + fixed_pressure
    factor = np.repeat(base.factor, n, axis=0)
    factor[:, assembled.process_element] = resistance
    return Schedule(setpoint.reshape(n, 1).copy(), pressure,
                    np.repeat(base.temperature, n, axis=0), factor)
