"""Density and speed of sound of air.

Ideal gas, ρ = p/(RT), c² = γRT, calculated; and the real gas of CoolProp (equation of state of
Lemmon, Jacobsen, Penoncello & Friend 2000), from which the ideal one with a constant γ may differ
by what is stated beside each check.
"""

from math import sqrt

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from simfan.assemble import assemble
from simfan.steady.bench import Bench
from tests.plants import plain
from tests.published.record import checked

ATMOSPHERE = 101325.0


def air_in_the_plant(celsius: float, barometer: float = ATMOSPHERE) -> tuple[float, float]:
    """(density at the wheel [kg/m³], speed of sound in the volume [m/s]) of the assembled plant."""
    case = plain(air={"temperature": celsius + 273.15, "barometer": barometer})
    bench = Bench(assemble(case, "speed", 0.025, 0.25))
    bench.stand(np.array([1.0]))
    x = np.zeros(bench.off.end)
    x[:3] = barometer, 10.0, 1.0
    bench.slopes(x)
    sound = sqrt(bench.coef.stiffness[0] * bench.plant.network.volume[0])
    return float(bench.probe.fan.density[0]), sound


@pytest.mark.parametrize(("celsius", "expected"), [(20.0, 1.204), (130.0, 0.876)])
def test_density_of_dry_air(celsius: float, expected: float) -> None:
    assert air_in_the_plant(celsius)[0] == checked(expected, "density [kg/m³]", abs=0.0005)


@pytest.mark.parametrize(("celsius", "expected"), [(20.0, 343.2), (150.0, 412.4)])
def test_speed_of_sound(celsius: float, expected: float) -> None:
    assert air_in_the_plant(celsius)[1] == checked(expected, "speed of sound [m/s]", abs=0.05)


@pytest.mark.parametrize("celsius", [-30.0, 0.0, 20.0, 130.0, 250.0])
@pytest.mark.parametrize("barometer", [80e3, ATMOSPHERE])
def test_density_is_that_of_the_real_gas(celsius: float, barometer: float) -> None:
    """Within .2 %: air at −30 °C is .15 % denser than ideal, above 0 °C it is within .07 %."""
    expected = PropsSI("D", "T", celsius + 273.15, "P", barometer, "Air")
    near = 0.0007 if celsius >= 0.0 else 0.002
    assert air_in_the_plant(celsius, barometer)[0] == checked(expected, "density [kg/m³]", rel=near)


@pytest.mark.parametrize("celsius", [-30.0, 0.0, 20.0, 130.0, 250.0])
def test_speed_of_sound_is_that_of_the_real_gas(celsius: float) -> None:
    """Within .2 % up to 130 °C; γ falls to 1.386 at 250 °C, where c is .6 % high."""
    expected = PropsSI("A", "T", celsius + 273.15, "P", ATMOSPHERE, "Air")
    assert air_in_the_plant(celsius)[1] == checked(
        expected, "speed of sound [m/s]", rel=0.002 if celsius < 200.0 else 0.006)
