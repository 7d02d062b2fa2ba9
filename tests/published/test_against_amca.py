"""Compressibility coefficient and the efficiency that is reported with it.

Formula of AMCA 210 / ISO 5801, from memory: Kp = [ln(1+x)/x]·[z/ln(1+z)], x = p/p₁,
z = ((γ−1)/γ)(P/Q)/p₁. Values calculated from it apart from simfan, γ 1.4, p₁ 101325 Pa, for fans of
a given efficiency η = Q·p·Kp/P. So Kp stands in its own power, P/Q = p·Kp/η, and the values hold
only with that; P/Q = p/η would give .93520 in place of .93240 in the last row.
"""

import numpy as np
import pytest

from simfan.measures import compressibility
from tests.published.record import checked

INLET = 101325.0
KP = (
    (1000.0, 0.80, 0.99684), (2500.0, 0.80, 0.99217), (4000.0, 0.82, 0.98741),
    (6500.0, 0.80, 0.98008), (10000.0, 0.80, 0.96989), (15000.0, 0.80, 0.95593),
    (25000.0, 0.75, 0.93240),
)  # fmt: skip
"""Pressure rise [Pa], efficiency η = Q·p·Kp/P [1], Kp [1]."""


@pytest.mark.parametrize(("rise", "efficiency", "kp"), KP)
def test_the_coefficient_is_that_of_the_formula(rise, efficiency, kp):
    flow = 45.0
    got = compressibility.coefficient(rise, flow * rise * kp / efficiency, flow, INLET, 1.4)
    assert got == checked(kp, "Kp", abs=1e-5)  # the values are given to five digits


def test_air_that_is_not_compressed_needs_no_correction():
    assert compressibility.coefficient(0.0, 0.0, 10.0, INLET, 1.4) == 1.0
    assert compressibility.coefficient(1e-3, 1e-2, 10.0, INLET, 1.4) == checked(
        1.0, "Kp of next to no rise", abs=1e-7)


def test_a_fan_that_stays_on_its_point_has_the_efficiency_of_the_point():
    time = np.linspace(0.0, 100.0, 401)
    flow, rise = np.full_like(time, 45.0), np.full_like(time, 4000.0)
    power = flow * rise * 0.98741 / 0.82
    start = compressibility.start(compressibility.Params(INLET, 1.4))
    got = compressibility.result(compressibility.over(start, 0.0, time, flow, rise, power))
    assert got.to_air / (power[0] * 100.0) == checked(0.82, "efficiency", abs=1e-5)


def test_backward_flow_is_given_no_energy():
    time = np.linspace(0.0, 10.0, 41)
    flow, rise = np.full_like(time, -5.0), np.full_like(time, 4000.0)
    start = compressibility.start(compressibility.Params(INLET, 1.4))
    got = compressibility.over(start, 0.0, time, flow, rise, np.full_like(time, 30e3))
    assert compressibility.result(got).to_air == 0.0
