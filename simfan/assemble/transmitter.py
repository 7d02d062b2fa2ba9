"""The transmitter: what it measures, where, on which basis."""

import numpy as np

from simfan.assemble.ductwork import AMBIENT, BRANCHES, VOLUME, AirPath, inlet_density
from simfan.kernel.layout import (
    ACTUAL_FLOW,
    AS_IT_IS,
    AS_ROOT_DENSITY,
    AS_ROOT_VOLUME,
    MASS_FLOW,
    NODE_PRESSURE,
    OUTLET_PRESSURE,
    PRESSURE_BEFORE,
    TRANSMITTER,
    rows,
)
from simfan.plant.case import Case
from simfan.plant.control import Control

SPAN_SHARE = 1.2
"""Transmitter span over the largest rated flow where none is given. Common practice, no source."""
PROCESS = BRANCHES.index("process")


def span(case: Case, control: Control | None = None) -> tuple[float, float]:
    """Low end and width of the transmitter's span [m³/s, kg/s or Pa]."""
    if ends := (control or case.control).span_ends:
        return ends[0], ends[1] - ends[0]
    return 0.0, SPAN_SHARE * case.fan.flow[-1] * _scale(case, inlet_density(case))


def transmitter(case: Case, control: Control, path: AirPath, step: float) -> np.recarray:
    """The one transmitter of a loop on flow or pressure."""
    device, (low, width) = control.transmitter, span(case, control)
    place, index = _place(control, path)
    misled = AS_IT_IS
    if control.holds == "flow" and not device.density_compensated:
        misled = AS_ROOT_DENSITY if place == ACTUAL_FLOW else AS_ROOT_VOLUME
    density = inlet_density(case)
    reference = density if control.flow_basis == "actual" else _normal_density(case)
    return rows(
        TRANSMITTER, place=place, index=index,
        branch=PROCESS if control.measured_at == "process" else 0, fan=0,
        scale=1.0 if control.flow_basis == "mass" else 1.0 / reference,
        misled=misled, design_density=density, surroundings=AMBIENT, low=low, span=width,
        root=int(device.square_root), cut_off=device.low_flow_cutoff, quantum=device.resolution,
        lag=device.lag, delay=round(device.dead_time / step))


def plain(place: int, index: int, low: float, width: float, step: float, lag: float = 0.0,
          dead_time: float = 0.0) -> np.recarray:
    """A transmitter of anything else."""
    return rows(
        TRANSMITTER, place=place, index=index, branch=0, fan=0, scale=1.0, misled=AS_IT_IS,
        design_density=1.0, surroundings=AMBIENT, low=low, span=width, root=0, cut_off=0.0,
        quantum=0.0, lag=lag, delay=round(dead_time / step))


def _place(control: Control, path: AirPath) -> tuple[int, int]:
    """Code of what is measured and the index of where."""
    if control.holds == "pressure":
        return {"fan": (OUTLET_PRESSURE, 0), "volume": (NODE_PRESSURE, VOLUME),
                "process": (PRESSURE_BEFORE, path.process_element)}[control.measured_at]
    if control.measured_at == "process":
        return MASS_FLOW, PROCESS
    return (ACTUAL_FLOW, 0) if control.flow_basis == "actual" else (MASS_FLOW, 0)


def _normal_density(case: Case) -> float:
    """ρ [kg/m³] at the normal state."""
    normal = case.control.normal
    return normal.pressure / (case.air.gas_constant * normal.temperature)


def _scale(case: Case, density: float) -> float:
    """Held value over volume flow at the fan's inlet."""
    return {"actual": 1.0, "mass": density,
            "normal": density / _normal_density(case)}[case.control.flow_basis]
