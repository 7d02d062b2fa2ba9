"""What the timeline played, as the kernel's rows of conditions."""

from collections.abc import Mapping

import numpy as np

from simfan.assemble.case import Assembled
from simfan.assemble.ductwork import AMBIENT, FAR_END, VOLUME
from simfan.kernel.layout import LOST_HIGH, LOST_LOW, STANDS, Schedule
from simfan.plant.case import Case

AIR_LOST = 1.0
AS_IT_IS = -1.0
"""In manual, or stuck: as it is."""


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
    forced, slow, offset = rows(base.forced), rows(base.slow), rows(base.offset)
    for a, element in enumerate(assembled.elements):
        forced[played["air"] == AIR_LOST, a] = element.fails
        driven = played[f"driven {element.name}"]
        forced[~np.isnan(driven), a] = driven[~np.isnan(driven)]
        forced[played[f"stuck {element.name}"] > 0.0, a] = AS_IT_IS
        slow[:, a] = 1.0 / played[f"slow {element.name}"]
        offset[:, a] = played[f"offset {element.name}"]
    power, reading, bias = rows(base.power), rows(base.reading), rows(base.bias)
    power[:] = played["motor"][:, None]
    reading[:, 0], bias[:, 0] = played["reading"], played["bias"]
    setpoint = rows(base.setpoint)
    setpoint[:, 0] = played["setpoint"]
    return Schedule(
        setpoint=setpoint, manual=_manual(assembled, rows(base.manual), by_hand(case, played)),
        noise=_noise(assembled, case.run.seed, played["noise"]),
        forced=forced, pressure=pressure, temperature=temperature, factor=factor, power=power,
        reading=reading, bias=bias, slow=slow, offset=offset,
        shutter=_shutter(assembled, rows(base.shutter), played))


def _shutter(assembled: Assembled, wanted: np.ndarray, played: Mapping[str, np.ndarray]
             ) -> np.ndarray:
    """(n_scans, n_shutters) of the isolation and the check damper."""
    for i, name in enumerate(assembled.items["shutter"]):
        if name == "isolation damper":
            wanted[:, i] = played["isolation"]
        wanted[played[f"stuck {name}"] > 0.0, i] = STANDS
    return wanted


def by_hand(case: Case, played: Mapping[str, np.ndarray]) -> np.ndarray:
    """(n_scans,) output by hand, or by the answer to a lost signal; nan in automatic. The answer
    lasts for one scan of the signal that is back, from which automatic takes over without a bump.
    """
    dial, answer = played["manual"], case.control.lost_signal
    if answer is None or answer.answer == "manual":
        return dial
    output = AS_IT_IS if answer.output is None else answer.output
    lost = np.isin(played["reading"], (float(LOST_LOW), float(LOST_HIGH)))
    lost[1:] |= lost[:-1].copy()
    return np.where(lost & np.isnan(dial), output, dial)


def _manual(assembled: Assembled, manual: np.ndarray, dial: np.ndarray) -> np.ndarray:
    """The dial on the loop that it belongs to; others that would work against it stand still."""
    loops = assembled.loops
    manual[:, loops.hand if loops else 0] = dial
    for i, part in enumerate(loops.parts if loops else ()):
        if part.waits:
            manual[:, i] = np.where(np.isnan(dial), np.nan, AS_IT_IS)
    return manual


def _noise(assembled: Assembled, seed: int, dial: np.ndarray) -> np.ndarray:
    """(n_scans, n_loops); the dial is that of the first transmitter."""
    parts = assembled.loops.parts[1:] if assembled.loops else ()
    columns = [dial * normal_noise(seed, 0, dial.size)]
    columns += [part.noise * normal_noise(seed, i, dial.size) if part.noise else
                np.zeros(dial.size) for i, part in enumerate(parts, 1)]
    return np.column_stack(columns)


def normal_noise(seed: int, signal: int, n_scans: int) -> np.ndarray:
    """(n_scans,) standard normal numbers, counted by seed, signal and scan, so that a signal's
    noise is the same whatever else is drawn."""
    return np.random.Generator(np.random.Philox(key=[seed, signal])).standard_normal(n_scans)
