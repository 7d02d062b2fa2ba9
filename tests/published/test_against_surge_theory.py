"""Surge of the invented fan B against the two-state theory, and duct frequencies.

I·dQ/dt = F(Q) − p, C·dp/dt = Q − Q_T(p), I = ρL/A, C = V/(ρc²): statically stable while F′ < S′,
dynamically while F′S′ < (ρc)²L/(AV) (Greitzer 1976; Moore & Greitzer 1985). Values calculated from
these equations with another integrator, for the printed analytic curve with its cubic continued
into reverse flow, everything but the fan and the duct after the volume, no pressure lag.
"""

from math import pi, sqrt

import numpy as np
import pytest

from simfan.assemble import Assembled, assemble
from simfan.steady.pace import helmholtz
from tests.plants import analytic, eigenvalues, period, plain, surge_rig, swing
from tests.published.record import checked

L, A, RHO, SOUND = 20.0, 4.0, 1.2, 343.0
FAN = analytic("B")
DESIGN = 50.0


def rig(V: float, share: float = 0.30, **changes: float) -> Assembled:
    """Resistance parabola through a share of the design flow."""
    Q = share * DESIGN
    loss = float(FAN(Q)) / (RHO * Q**2)
    options = {"step": 0.002, "duration": 40.0} | changes
    return surge_rig(FAN, length=L, area=A, volume=V, density=RHO, sound=SOUND, loss=loss,
                     **options)


def test_the_slopes_and_the_critical_volume_are_those_of_the_theory() -> None:
    Q = 0.30 * DESIGN
    F, S = float(FAN(Q, 1)), 2.0 * float(FAN(Q)) / Q
    assert checked((37.197, 605.15), "F′, S′ [Pa s/m³]", rel=1e-3) == (F, S)
    critical = (RHO * SOUND) ** 2 * L / (A * F * S)
    assert critical == checked(37.63, "critical volume [m³]", rel=1e-3)
    for volume, unstable in ((0.99 * critical, False), (1.01 * critical, True)):
        found = eigenvalues(rig(volume), Q, float(FAN(Q)))
        assert bool(np.max(found.real) > 0.0) is unstable


@pytest.mark.parametrize(("V", "expected"), [(30.0, complex(-0.7885, 27.120)),
                                              (40.0, complex(0.1836, 23.496))])
def test_small_swings_have_the_eigenvalues_of_the_theory(V: float, expected: complex) -> None:
    found = eigenvalues(rig(V), 15.0, float(FAN(15.0)))
    assert found[np.argmax(found.imag)] == checked(expected, "eigenvalue [rad/s]", rel=1e-3)


LIMIT_CYCLES = [(60.0, 0.324, -2.7, 32.1), (150.0, 0.510, -11.0, 40.7),
                (600.0, 1.052, -14.2, 45.1), (2000.0, 2.116, -14.7, 46.9)]
"""Volume [m³], period [s], least and most flow [m³/s]."""


@pytest.mark.parametrize(("V", "time", "least", "most"), LIMIT_CYCLES)
def test_surge_settles_on_the_limit_cycle(V: float, time: float, least: float, most: float) -> None:
    traces = swing(rig(V), 16.0, float(FAN(15.0)))
    flow = traces.fan_flow[:, 0]
    half = flow.size // 2
    assert period(0.002 * np.arange(flow.size), flow) == checked(time, "period [s]", rel=0.01)
    extent = 0.02 * (most - least)
    assert flow[half:].min() == checked(least, "least flow [m³/s]", abs=extent)
    assert flow[half:].max() == checked(most, "most flow [m³/s]", abs=extent)


def test_left_of_the_peak_need_not_be_surge() -> None:
    Q = 0.57 * DESIGN
    assert FAN(Q, 1) > 0.0
    flow = swing(rig(600.0, 0.57), Q + 1.0, float(FAN(Q))).fan_flow[:, 0]
    assert abs(flow[-1] - Q) < 0.05


def test_a_pressure_lag_raises_the_critical_volume() -> None:
    # by half to three times for lags of .03 to .12 s; common practice, no source
    unstable = eigenvalues(rig(50.0), 15.0, float(FAN(15.0)))
    assert np.max(unstable.real) > 0.0
    lagged = surge_rig(FAN, length=L, area=A, volume=50.0, density=RHO, sound=SOUND,
                       loss=float(FAN(15.0)) / (RHO * 15.0**2), step=0.002, duration=40.0, lag=0.05)
    flow = swing(lagged, 15.5, float(FAN(15.0))).fan_flow[:, 0]
    assert abs(flow[-1] - 15.0) < 0.01


def test_the_helmholtz_frequency_of_the_assembled_plant() -> None:
    expected = 6.2623  # rad/s, at c = 343 m/s
    case = plain(air={"temperature": 293.15, "barometer": 101325.0})
    c = sqrt(1.4 * 287.05 * 293.15)
    assert helmholtz(assemble(case, "after", 0.025, 0.25)) == checked(
        expected * c / 343.0, "ω_H [rad/s]", rel=1e-4)
    assert expected / (2.0 * pi) == checked(0.99668, "frequency [Hz]", rel=1e-4)
