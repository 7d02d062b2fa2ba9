"""What the timeline played, as the kernel's rows of conditions."""

from collections.abc import Mapping

import numpy as np

from simfan.assemble.case import Assembled
from simfan.assemble.ductwork import AMBIENT, FAR_END, VOLUME
from simfan.kernel.layout import Schedule
from simfan.plant.case import Case

AIR_LOST = 1.0


def schedule(assembled: Assembled, case: Case, played: Mapping[str, np.ndarray]) -> Schedule:
    """Conditions of every scan from each dial of the timeline, (n_scans,) each."""
    base, path = assembled.base, assembled.path
    n = played["setpoint"].size

    def rows(column: np.ndarray) -> np.ndarray:
        return np.repeat(column, n, axis=0)

    pressure, temperature = rows(base.pressure), rows(base.temperature)
    factor = rows(base.factor)
    pressure[:] = played["barometer"][:, None]
    pressure[:, FAR_END] += played["fixed_pressure"]
    temperature[:, AMBIENT] = played["ambient_temperature"]
    temperature[:, [VOLUME, FAR_END]] = played["gas_temperature"][:, None]
    factor[:, path.process_element] = played["process_resistance"]
    if path.filter_element >= 0:
        factor[:, path.filter_element] = played["inlet_resistance"]
    forced = rows(base.forced)
    for a, element in enumerate(assembled.elements):
        forced[played["air"] == AIR_LOST, a] = element.fails
    return Schedule(
        setpoint=played["setpoint"].reshape(n, 1).copy(),
        manual=played["manual"].reshape(n, 1).copy(),
        noise=(played["noise"] * normal_noise(case.run.seed, 0, n)).reshape(n, 1),
        forced=forced, pressure=pressure, temperature=temperature, factor=factor)


def normal_noise(seed: int, signal: int, n_scans: int) -> np.ndarray:
    """(n_scans,) standard normal numbers, counted by seed, signal and scan, so that a signal's
    noise is the same whatever else is drawn."""
    return np.random.Generator(np.random.Philox(key=[seed, signal])).standard_normal(n_scans)
