"""Surge of the cubic characteristic.

Moore & Greitzer, NASA CR-3878 (1985); Gravdahl, thesis NTNU (1998), table D.1 and figures 2.8 and
2.10, read as quoted by others. Pressures over ρU² (Greitzer 1976 takes ½ρU²).
"calc" marks values worked out from the same two equations with another integrator:
dΦ/ds = Ψc − Ψ, dΨ/ds = (Φ − Φ_T)/(4B²), Φ_T = γ√Ψ.

In the rig ρ = 1, L/A = 1, c = 1 and V = 4B², so that flow is Φ, pressure Ψ and time s.
"""

import numpy as np
import pytest
from scipy.interpolate import PPoly

from simfan.assemble import Assembled
from tests.plants import eigenvalues, period, surge_rig, swing
from tests.published.record import checked

PSI_0, H, W = 0.3, 0.18, 0.25
CUBIC = PPoly(np.array([[-0.5 * H / W**3], [4.5 * H / W**2], [-12.0 * H / W],
                        [PSI_0 + 10.0 * H]]), [-2.0 * W, 8.0 * W])
"""Ψc = ψc0 + H[1 + 1.5(Φ/W − 1) − .5(Φ/W − 1)³], written from Φ = −2W."""


def rig(B: float, gamma: float, duration: float = 300.0, step: float = 0.02) -> Assembled:
    return surge_rig(CUBIC, length=1.0, area=1.0, volume=4.0 * B**2, density=1.0, sound=1.0,
                     loss=1.0 / gamma**2, step=step, duration=duration)


def test_the_peak_stands_where_it_is_printed() -> None:
    assert CUBIC(0.5) == checked(0.66, "Ψ at the peak", abs=1e-12)
    assert CUBIC(0.5, 1) == checked(0.0, "slope at the peak", abs=1e-12)


def test_deep_surge_swings_as_far_as_the_figure_shows() -> None:
    traces = swing(rig(1.8, 0.61), 0.6, 0.6)
    half = traces.fan_flow.size // 2
    flow, pressure = traces.fan_flow[half:, 0], traces.node_pressure[half:, 0] - 1e9
    expected = {"least flow": -0.19, "most flow": 0.76, "least rise": 0.21, "most rise": 0.67}
    got = (flow.min(), flow.max(), pressure.min(), pressure.max())
    assert got == checked(
        tuple(expected.values()), "least, most Φ and Ψ", abs=0.01)  # printed digits; figure ±.03


def test_deep_surge_keeps_its_period() -> None:
    traces = swing(rig(1.8, 0.61), 0.6, 0.6)
    time = 0.02 * np.arange(traces.fan_flow.size)
    expected = 2.451 * 4.0 * np.pi * 1.8  # calc, Helmholtz periods
    assert period(time, traces.fan_flow[:, 0]) == checked(expected, "period", rel=0.005)


def test_a_wider_throttle_is_stable() -> None:
    plant = rig(1.8, 0.65)
    traces = swing(plant, 0.6, 0.6)
    flow, pressure = traces.fan_flow[-1, 0], traces.node_pressure[-1, 0] - 1e9
    assert (flow, pressure) == checked((0.5268, 0.6568), "Φ, Ψ", abs=1e-4)  # calc; figure .53, .66
    expected = complex(-0.1373, 0.2566)  # calc
    found = eigenvalues(plant, flow, pressure)
    assert found[np.argmax(found.imag)] == checked(expected, "eigenvalue", abs=1e-3)


@pytest.mark.parametrize(("share", "grows"), [(0.97, False), (1.03, True)])
def test_surge_begins_at_the_critical_B(share: float, grows: bool) -> None:
    gamma, B_critical = 0.506955, 0.34087  # calc: 1/(2√(m_c·m_T)) at Φ = .4
    rise = float(CUBIC(0.4))
    assert gamma * np.sqrt(rise) == checked(0.4, "Φ", abs=1e-5)
    traces = swing(rig(share * B_critical, gamma), 0.41, rise)
    away = np.abs(traces.fan_flow[:, 0] - 0.4)
    n = away.size // 6
    assert bool(away[-n:].max() > away[:n].max()) is grows


PERIODS = [(0.4, 1.169), (0.5, 1.174), (0.8, 1.242), (1.0, 1.323), (1.8, 1.724), (3.0, 2.395),
           (5.0, 3.569)]
"""B and period over the Helmholtz period at γ = .5, calc."""


@pytest.mark.parametrize(("B", "expected"), PERIODS)
def test_the_period_grows_with_B(B: float, expected: float) -> None:
    helmholtz = 4.0 * np.pi * B
    traces = swing(rig(B, 0.5, duration=30.0 * helmholtz * expected, step=0.01 * B), 0.45, 0.62)
    time = 0.01 * B * np.arange(traces.fan_flow.size)
    assert period(time, traces.fan_flow[:, 0]) / helmholtz == checked(
        expected, "period over Helmholtz period", rel=0.01)
