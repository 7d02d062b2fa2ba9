"""The fan laws: flow with speed, pressure with its square and density, power with its cube.

Sources: university homework on fan laws with printed answers (speed changes, I-P units); an
end-of-chapter problem of a textbook on fan and duct systems (warm air); a US Department of Energy
tip sheet (a fifth less speed). Tolerances are the printed digits.
"""

from math import pi

import pytest
from scipy.optimize import brentq

from tests.plants import FANS, fan
from tests.published.record import checked
from tests.wheels import CFM, HP, IN_WG, Wheel, through


def on_the_same_parabola(wheel: Wheel, flow: float, speed: float) -> float:
    """Flow at another speed on the resistance parabola through a flow at rated speed [m³/s]."""
    k = wheel.at(flow, 1.0)[0] / flow**2
    return float(brentq(lambda q: wheel.at(q, speed)[0] - k * q**2, 0.05 * flow, 3.0 * flow))


def test_a_slower_fan_on_its_system() -> None:
    """6000 cfm, 4 in. w.g., 6 hp at 2000 rpm, slowed to 1500 rpm."""
    expected_flow, expected_pressure, expected_power = 4500.0, 2.25, 2.53
    wheel = Wheel(through(6000.0 * CFM, 4.0 * IN_WG, 6.0 * HP, 2000.0))
    assert wheel.at(6000.0 * CFM, 1.0)[0] / IN_WG == checked(4.0, "pressure [in. w.g.]", abs=5e-4)
    flow = on_the_same_parabola(wheel, 6000.0 * CFM, 0.75)
    assert flow / CFM == checked(expected_flow, "flow [cfm]", abs=0.5)
    assert wheel.at(flow, 0.75)[0] / IN_WG == checked(
        expected_pressure, "pressure [in. w.g.]", abs=0.005)
    assert wheel.power(flow, 0.75) / HP == checked(expected_power, "power [hp]", abs=0.005)


def test_a_faster_fan_on_its_system() -> None:
    """2000 cfm, 3.00 in. w.g., 1.0 kW at 1300 rpm, sped up to 1500 rpm."""
    expected_flow, expected_pressure, expected_power = 2308.0, 3.99, 1.54
    wheel = Wheel(through(2000.0 * CFM, 3.0 * IN_WG, 1000.0, 1300.0))
    speed = 1500.0 / 1300.0
    flow = on_the_same_parabola(wheel, 2000.0 * CFM, speed)
    assert flow / CFM == checked(expected_flow, "flow [cfm]", abs=0.5)
    assert wheel.at(flow, speed)[0] / IN_WG == checked(
        expected_pressure, "pressure [in. w.g.]", abs=0.005)
    assert wheel.power(flow, speed) / 1e3 == checked(expected_power, "power [kW]", abs=0.005)


def test_warmer_air_takes_less_power_at_the_same_speed() -> None:
    """2.4 m³/s, 340 Pa, 1.8 kW at 20 °C, then 40 °C: density in the ratio of the temperatures."""
    expected_power, expected_pressure = 1.685, 318.3
    cold = 101325.0 / (287.05 * 293.15)
    wheel = Wheel(through(2.4, 340.0, 1800.0, 1450.0, cold))
    warm = cold * 293.15 / 313.15
    assert wheel.at(2.4, 1.0, warm)[0] == checked(expected_pressure, "pressure [Pa]", abs=0.05)
    assert wheel.power(2.4, 1.0, warm) / 1e3 == checked(expected_power, "power [kW]", abs=0.0005)


@pytest.mark.parametrize("name", FANS)
@pytest.mark.parametrize(("speed", "expected_percent"), [(0.80, 51.2), (1.05, 115.8),
                                                         (1.10, 133.1)])
def test_power_goes_with_the_cube_of_speed(name: str, speed: float,
                                           expected_percent: float) -> None:
    """51.2 %: fan law, the tip sheet says "about 50 %". 115.8 and 133.1 % calculated."""
    wheel, design = Wheel(fan(name)), FANS[name]["design"]["Q_m3s"]
    share = wheel.power(speed * design, speed) / wheel.power(design, 1.0)
    assert 100.0 * share == checked(expected_percent, "power [%]", abs=0.05)


@pytest.mark.parametrize(("name", "density", "expected"), [
    ("A", None, 1.124), ("B", None, 1.093), ("C", None, 1.0525), ("C", 1.2, 0.938)])
def test_the_motor_is_full_at_this_speed(name: str, density: float | None, expected: float) -> None:
    """On the parabola through the design point; calculated, (rating/power)^(1/3)."""
    wheel, f = Wheel(fan(name)), FANS[name]
    at_full = brentq(lambda n: wheel.power(n * f["design"]["Q_m3s"], n, density)
                     - 1e3 * f["motor_kW"], 0.5, 1.5)
    digits = 0.00005 if name == "C" and density is None else 0.0005
    assert at_full == checked(expected, "speed over rated", abs=digits)


def test_cold_air_overloads_the_hot_fan() -> None:
    """Fan C, rated at .85 kg/m³, on air of 1.2 kg/m³: 3148 kW asked of a 2600 kW motor; calc."""
    wheel, design = Wheel(fan("C")), FANS["C"]["design"]["Q_m3s"]
    assert wheel.power(design, 1.0, 1.2) / 1e3 == checked(3148.0, "power [kW]", abs=0.5)


@pytest.mark.parametrize("name", FANS)
def test_every_point_of_the_maker_lies_on_the_curve(name: str) -> None:
    """The points as printed, to half a pascal and half of the last digit of the power."""
    wheel = Wheel(fan(name))
    for point in FANS[name]["points"]:
        rise, power = wheel.at(point["Q_m3s"], 1.0)
        assert rise == checked(point["ps_Pa"], "pressure [Pa]", abs=0.5)
        assert power / 1e3 == checked(point["P_kW"], "power [kW]", abs=0.05)
    assert wheel.bench.plant.rotors.each.rated_speed[0] == FANS[name]["design"]["N_rpm"] * pi / 30.0
