"""Power against flow of the four devices, held as bands and order, never as truth: published curves
contradict one another.

Two published families of inlet-vane curves: the part-load table of several US state
energy-efficiency technical reference manuals (from memory), and the DOE-2 curve of the ASHRAE
HVAC 2 Toolkit (quoted in national-laboratory source). Fan B's power curve was set from the
outlet-damper row, which therefore is no check of it.
"""

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from simfan.assemble import Assembled, assemble
from simfan.assemble.ductwork import AMBIENT
from simfan.kernel.layout import LOSS
from simfan.plant.case import Case
from simfan.steady.balance import Rest, hold
from simfan.steady.bench import Bench
from tests.plants import GAINS, fan, plain
from tests.published.record import checked

WAYS = {
    "outlet damper": {"outlet_damper": {"blades": "opposed", "area": 8.0, "stroke_time": 12.0,
                                        "place": "before volume"}},
    "inlet box damper": {"inlet_box_damper": {"stroke_time": 12.0}},
    "inlet vanes": {"inlet_vanes": {"stroke_time": 10.0}},
    "variable speed": {"speed": {"ramp_up": 40.0, "ramp_down": 60.0, "minimum": 0.1,
                                 "maximum": 1.1}},
}
K = 1000.0
"""Times the pressure of the incompressible limit."""
DENSITY = {"temperature": 293.15, "barometer": 1.2 * 287.05 * 293.15}


@cache
def power(way: str, share: float) -> float:
    """Shaft power over design power, settled at a share of design flow on the parabola."""
    case = plain(air=DENSITY, fan=fan("B") | {"design_flow": 50.0},
                 process={"design": {"flow": 50.0, "pressure": 4000.0}},
                 strategies={"it": {**WAYS[way], "controller": GAINS}})
    assembled = assemble(case, "it", 0.025, 0.25)
    rest = hold(assembled, 50.0 * share)
    assert rest.reached
    return shaft_power(assembled, rest, case) / 241e3


def shaft_power(assembled: Assembled, rest: Rest, case: Case) -> float:
    """Torque times speed [W] at a steady point."""
    bench = Bench(assembled)
    bench.stand(rest.outputs)
    bench.slopes(rest.x)
    return float(bench.probe.fan.torque[0]) * float(rest.x[2]) * case.fan.rated.speed


def incompressible(assembled: Assembled, design_pressure: float) -> Assembled:
    """The limit that closed forms are for: density as it was, a thousand times the pressure.

    The process's loss is told at the density of the volume, which then is that of the inlet.
    """
    plant, pressure = assembled.plant, assembled.base.pressure
    ambient = float(pressure[0, AMBIENT])
    element = plant.network.element.copy()
    element.quadratic[element.kind == LOSS] *= ambient / (ambient + design_pressure)
    lift = (K - 1.0) * ambient  # gauge pressures stay
    return replace(
        assembled, base=assembled.base._replace(pressure=pressure + lift),
        plant=plant._replace(gas=plant.gas._replace(R=K * plant.gas.R),
                             network=plant.network._replace(element=element)))


@pytest.mark.parametrize("share", [0.5, 0.6, 0.7, 0.8, 0.9])
def test_at_equal_flow_the_order_is_damper_box_vanes_speed(share: float) -> None:
    found = [power(way, share) for way in WAYS]
    assert all(more > less for more, less in pairwise(found))


VANES = [(0.5, 0.479, 0.60), (0.6, 0.529, 0.62), (0.7, 0.601, 0.67), (0.8, 0.698, 0.74),
         (0.9, 0.826, 0.85)]
"""Flow, the Toolkit's curve, the manuals' table."""


@pytest.mark.parametrize(("share", "low", "high"), VANES)
def test_vanes_lie_within_four_hundredths_of_the_published_band(
        share: float, low: float, high: float) -> None:
    assert low - 0.04 <= power("inlet vanes", share) <= high + 0.04


@pytest.mark.parametrize("share", [0.5, 0.6, 0.7])
def test_the_box_damper_saves_about_half_to_four_fifths_of_what_vanes_save(share: float) -> None:
    damper = power("outlet damper", share)
    saved = (damper - power("inlet box damper", share)) / (damper - power("inlet vanes", share))
    assert 0.45 <= saved <= 0.80


def test_at_a_reduced_duty_power_goes_as_in_the_trade_s_example() -> None:
    """1000 hp with outlet damper, 700 with inlet dampers, about 450 by speed (trade magazine)."""
    damper = power("outlet damper", 0.7)
    assert 0.60 <= power("inlet vanes", 0.7) / damper <= 0.80
    assert 0.40 <= power("variable speed", 0.7) / damper <= 0.56


BACK_PRESSURE = [(0.7, 0.0, 0.700, 0.343), (0.7, 0.3, 0.770, 0.444), (0.7, 0.5, 0.814, 0.513),
                 (0.5, 0.0, 0.500, 0.125), (0.5, 0.3, 0.638, 0.234), (0.5, 0.5, 0.720, 0.314)]
"""Flow, fixed pressure, speed and power over design: fan B against p = p₀ + (1 − p₀)q² [calc]."""


@pytest.mark.parametrize(("share", "fixed", "speed", "expected"), BACK_PRESSURE)
def test_against_a_fixed_pressure_speed_and_power_fall_less(
        share: float, fixed: float, speed: float, expected: float) -> None:
    case = plain(air=DENSITY, fan=fan("B"), control={"scan": 0.25},
                 process={"fixed_pressure": 4000.0 * fixed,
                          "design": {"flow": 50.0, "pressure": 4000.0}},
                 strategies={"it": {**WAYS["variable speed"], "controller": GAINS}})
    assembled = incompressible(assemble(case, "it", 0.025, 0.25), 4000.0)
    rest = hold(assembled, 50.0 * share)
    assert rest.reached
    assert rest.x[2] == checked(speed, "speed over rated", rel=0.005)
    assert shaft_power(assembled, rest, case) == checked(
        241e3 * expected, "shaft power [W]", rel=0.005)


INSTALLED = {
    "opposed": ((0.52, 2.7, 21.0, 245.0, 547.0, 1521.0), (0.909, 0.580, 0.202, 0.137, 0.082)),
    "parallel": ((0.52, 1.6, 5.4, 24.0, 65.0, 361.0), (0.952, 0.825, 0.554, 0.373, 0.167)),
}
"""Losses at 0/20/40/60/70/80 degrees closed (handbook-type tables, from memory) and the installed
flow at an authority of .05, q = 1/√(1 − A + A·ζ/ζ₀) [calc]."""


@pytest.mark.parametrize("blades", list(INSTALLED))
def test_the_installed_flow_at_a_twentieth_of_authority(blades: str) -> None:
    losses, expected = INSTALLED[blades]
    angles = np.array([0.0, 20.0, 40.0, 60.0, 70.0, 80.0])
    opening = 1.0 - angles / 90.0
    table = {"opening": [0.0, *opening[::-1]], "loss": [5000.0, *losses[::-1]]}
    damper = {"area": 4.0, "stroke_time": 12.0, "place": "after volume", "losses": table}
    case = plain(strategies={"it": {"outlet_damper": damper, "controller": GAINS}})
    bench = Bench(assemble(case, "it", 0.025, 0.25))
    net = bench.plant.network
    process = 19.0 * losses[0] / (2.0 * 4.0**2)  # the damper takes a twentieth when open
    net.element.quadratic[net.element.kind == 0] = process
    bench.plant = bench.plant._replace(gas=bench.plant.gas._replace(R=287.05e6))
    bench.cond.pressure[:] *= 1e6  # the incompressible limit that the closed form is for
    flows = []
    for y in opening:
        bench.stand(np.array([y]))
        x = np.zeros(bench.off.end)
        x[:3] = bench.cond.pressure[2] + 3000.0, 0.0, 1.0
        bench.slopes(x)
        flows.append(bench.probe.flow[1])
    assert np.array(flows[1:]) / flows[0] == checked(
        np.array(expected), "flow at 20, 40, 60, 70, 80° closed", abs=1e-3)
