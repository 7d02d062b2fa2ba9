"""A wheel on the test stand: the assembled plant's own equations at a flow, speed and density."""

from math import pi
from typing import Any

import numpy as np

from simfan.assemble import assemble
from simfan.steady.bench import Bench
from tests.plants import FANS, fan, motor, plain

CFM, IN_WG, HP = 0.3048**3 / 60.0, 249.089, 745.69987
"""[m³/s], conventional [Pa], mechanical [W]."""


class Wheel:
    """One fan of the plain case, drawing from the open so that its inlet is ambient air."""

    def __init__(self, description: dict[str, Any], rating: float = 1e5) -> None:
        rpm = description["rated"]["speed"] * 30.0 / pi
        turning = {"rating": rating, "poles": 4, "slip": 0.01, "belt_ratio": rpm / 1485.0}
        design = {"flow": description["flow"][-2], "pressure": description["static_pressure"][-2]}
        self.case = plain(
            fan=description, motor=turning, process={"design": design},
            run={"duration": 10.0, "starts_at": 0.9 * description["flow"][-2]}, timeline=[])
        self.bench = Bench(assemble(self.case, "speed", 0.025, 0.25))
        self.rated_density = float(self.bench.plant.fans.each.density[0])

    def at(self, flow: float, speed: float, density: float | None = None) -> tuple[float, float]:
        """(pressure rise [Pa], torque times rated speed [W]) at an inlet flow [m³/s], a speed
        over rated, a density [kg/m³] set by the barometer."""
        bench = self.bench
        rho = self.rated_density if density is None else density
        p = rho * bench.plant.gas.R * bench.cond.temperature[1]
        bench.cond = bench.cond._replace(pressure=np.array([p, p, p]))
        bench.stand(np.array([1.0]))
        x = np.zeros(bench.off.end)
        x[:3] = p, rho * flow, speed
        bench.slopes(x)
        w0 = float(bench.plant.rotors.each.rated_speed[0])
        return float(bench.probe.fan.rise[0]), float(bench.probe.fan.torque[0]) * w0

    def power(self, flow: float, speed: float, density: float | None = None) -> float:
        """Shaft power [W]."""
        return self.at(flow, speed, density)[1] * speed


def through(flow: float, pressure: float, power: float, rpm: float, density: float = 1.2,
            ) -> dict[str, Any]:
    """A fan whose curve passes through one known point; the shape around it is invented."""
    shape = [(0.0, 1.15, 0.55), (0.4, 1.25, 0.72), (0.8, 1.12, 0.93), (1.0, 1.0, 1.0),
             (1.3, 0.7, 1.02), (1.5, 0.4, 0.95)]
    return {
        "rated": {"speed": rpm * pi / 30.0, "density": density},
        "flow": [q * flow for q, _, _ in shape],
        "static_pressure": [p * pressure for _, p, _ in shape],
        "shaft_power": [w * power for _, _, w in shape],
        "inertia": 10.0, "max_safe_speed": 2.0 * rpm * pi / 30.0,
    }


def on_its_parabola(name: str, **changes: Any) -> Any:
    """An invented fan on a resistance parabola through its design point, no fixed pressure, at its
    rated density."""
    design = FANS[name]["design"]
    description = fan(name)
    barometer = design["rho"] * 287.05 * 293.15
    safe = 2.0 * description["rated"]["speed"]
    return plain(**{
        "air": {"temperature": 293.15, "barometer": barometer},
        "fan": description | {"max_safe_speed": safe}, "motor": motor(name),
        "process": {"design": {"flow": design["Q_m3s"], "pressure": design["ps_Pa"]}},
        "run": {"duration": 60.0, "starts_at": design["Q_m3s"]}, "timeline": []} | changes)
