"""Operating points told in full: what the kernel's equations say of each steady solution."""

from math import sqrt

import numpy as np

from simfan.assemble import Assembled
from simfan.measures import compressibility
from simfan.operating_map import (
    DYNAMICALLY_UNSTABLE,
    STABLE,
    STATICALLY_UNSTABLE,
    OperatingPoint,
)
from simfan.plant.case import Case
from simfan.steady.bench import Array
from simfan.steady.search import Search, Standing

SMALL = 1e-4
"""Change of flow for slopes along the range, of the largest in the curve's table."""


def told(case: Case, assembled: Assembled, search: Search, at: Standing,
         gains: Array | None = None) -> tuple[OperatingPoint, ...]:
    """Each of these solutions with its numbers, units and stability."""
    seen = search.samples(at)
    slopes = _Slopes(search, at, seen["fan_density"][:, 0])
    stability = _stability(search, at, slopes)
    ambient, blades = search.bench.p0, _blades(assembled, at)
    RT = search.plant.gas.R * search.bench.cond.temperature[search.plant.network.branch[0].first]
    amperes = 1.0 / (sqrt(3.0) * case.motor.voltage * case.motor.power_factor)
    names, found = assembled.items["element"], []
    for k in range(len(at)):
        flow, rise, power = (float(seen[name][k, 0])
                             for name in ("fan_flow", "fan_pressure", "shaft_power"))
        electrical, stall = float(seen["electrical_power"][k, 0]), float(seen["stall_flow"][k, 0])
        found.append(OperatingPoint(
            held=float(seen["true_value"][k, 0]), output=float(at.output[k]),
            positions=dict(zip(names, at.position[k].tolist(), strict=True)),
            blade_angles={name: float(angle[k]) for name, angle in blades.items()},
            taken={name: float(seen["element_pressure"][k, names.index(name)]) for name in blades},
            flow=flow, mass_flow=float(seen["mass_flow"][k, 0]), pressure=rise,
            volume_pressure=float(seen["node_pressure"][k, 0]) - ambient,
            density=float(seen["fan_density"][k, 0]), speed=float(seen["speed_ratio"][k, 0]),
            stall_flow=stall if np.isfinite(stall) else None, shaft_power=power,
            electrical_power=electrical, current=electrical * amperes,
            motor_load=float(seen["motor_load"][k, 0]),
            efficiency=_efficiency(flow, rise, power, float(seen["fan_density"][k, 0] * RT),
                                   case.air.heat_capacity_ratio),
            stability=stability[k], fan_slope=float(slopes.fan[k]),
            system_slope=float(slopes.system[k]), critical_volume=slopes.critical_volume(k),
            gain=None if gains is None or not np.isfinite(gains[k]) else float(gains[k])))
    return tuple(found)


def process_gain(search: Search, at: Standing) -> Array:
    """(n,) ∂(held)/∂(controller output) along the range [held unit], by central differences in the
    flow: Δheld/Δoutput. Nan where the output has no effect or its end is near."""
    flow, step = at.x[:, search.bench.off.flow], SMALL * search.bench.m_scale
    sides = np.concatenate([flow - step, flow + step])
    output = search.outputs_for(sides)
    given = np.isfinite(output)
    held = np.full(sides.size, np.nan)
    if given.any():
        standing = search.standing(search.placed(output[given]), sides[given], output[given])
        held[given] = search.samples(standing)["true_value"][:, 0]
    (u0, u1), (h0, h1) = np.split(output, 2), np.split(held, 2)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(np.abs(u1 - u0) > 1e-12, (h1 - h0) / (u1 - u0), np.nan)


class _Slopes:
    """F′ and S′ of each point, from the rates of change of the kernel's own states."""

    def __init__(self, search: Search, at: Standing, density: Array) -> None:
        self.rates = search.rates(at)
        flow = search.bench.off.flow
        gas, net, cond = search.plant.gas, search.plant.network, search.bench.cond
        self.c2 = gas.gamma * gas.R * cond.temperature[0]
        self.inertance, self.density = net.inertance[0], density
        stiffness = self.c2 / net.volume[0]
        self.fan = self.rates[:, flow, flow] * self.inertance * density
        self.system = -stiffness / self.rates[:, 0, 0] * density

    def critical_volume(self, k: int) -> float | None:
        """(ρc)²(L/A)/(F′S′) [m³]; None where F′ ≤ 0."""
        product = self.fan[k] * self.system[k]
        if self.fan[k] <= 0.0:
            return None
        return float(self.density[k] ** 2 * self.c2 * self.inertance / product)

    @property
    def static(self) -> Array:
        """(n,) whether the point slides away: the determinant of the rates has changed sign."""
        n = self.rates.shape[1]
        return (-1.0) ** n * np.linalg.det(self.rates) < 0.0


def grows(search: Search, at: Standing) -> Array:
    """(n,) whether a small push grows, the elements standing still."""
    lags = bool(np.any(search.lagged.plant.fans.each.lag > 0.0))
    return np.linalg.eigvals(search.rates(at, lagged=lags)).real.max(axis=1) >= 0.0


def _stability(search: Search, at: Standing, slopes: _Slopes) -> list[str]:
    return [STATICALLY_UNSTABLE if slides else DYNAMICALLY_UNSTABLE if swings else STABLE
            for slides, swings in zip(slopes.static, grows(search, at), strict=True)]


def _blades(assembled: Assembled, at: Standing) -> dict[str, Array]:
    """Angle of the blades from open [°], 90° shut: the opening after the linkage."""
    angles = {}
    for a, element in enumerate(assembled.elements):
        if element.name != "speed":
            position, opening = np.array(element.linkage).T
            angles[element.name] = 90.0 * (1.0 - np.interp(at.position[:, a], position, opening))
    return angles


def _efficiency(flow: float, rise: float, power: float, inlet: float, gamma: float
                ) -> float | None:
    """Q·Δp·Kp/P [1]."""
    if flow <= 0.0 or power <= 0.0:
        return None
    return flow * rise * float(compressibility.coefficient(rise, power, flow, inlet, gamma)) / power
