"""What holds for every wheel at every speed, density and flow."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.plants import FANS, fan
from tests.wheels import Wheel

WHEELS = {name: Wheel(fan(name)) for name in FANS}
LAST = {name: FANS[name]["points"][-1]["Q_m3s"] for name in FANS}
names = st.sampled_from(sorted(FANS))
speeds = st.floats(0.01, 1.6)
densities = st.floats(0.3, 2.5)
flows = st.floats(-1.2, 2.5)
"""Of the last rated flow, at rated speed: reverse flow, the table, and far beyond it."""

EVERY = settings(max_examples=300, deadline=None)


@EVERY
@given(names, flows, speeds, densities)
def test_fan_laws_hold_at_any_speed_and_density(name: str, flow: float, speed: float,
                                                density: float) -> None:
    """Δp = (ρ/ρ₀)n²·f(Q/n), P = (ρ/ρ₀)n³·g(Q/n), to 1e-9; similarity, calculated."""
    wheel, Q = WHEELS[name], flow * LAST[name]
    rise, power = wheel.at(Q, 1.0)
    ratio = density / wheel.rated_density
    got_rise, got_power = wheel.at(Q * speed, speed, density)
    scale = ratio * speed**2
    near = 1e-9 * scale * float(np.max(np.abs(wheel.bench.plant.fans.cells[0, 0, :, 0])))
    assert got_rise == pytest.approx(scale * rise, rel=1e-9, abs=near)
    assert got_power * speed == pytest.approx(scale * speed * power, rel=1e-9,
                                              abs=1e-9 * speed * scale * abs(power) + 1e-9)


@EVERY
@given(names, st.floats(0.001, 2.0), densities)
def test_a_standing_wheel_is_a_resistance(name: str, share: float, density: float) -> None:
    """It takes pressure from the flow, whichever way, with its square; a forward flow drives it."""
    wheel, Q = WHEELS[name], share * LAST[name]
    for way in (1.0, -1.0):
        rise, _ = wheel.at(way * Q, 0.0, density)
        assert way * rise < 0.0
        assert wheel.at(2.0 * way * Q, 0.0, density)[0] == pytest.approx(4.0 * rise, rel=1e-12)
    assert wheel.at(Q, 0.0, density)[1] < 0.0


@EVERY
@given(names, flows, st.floats(0.0, 1.6))
def test_the_curve_has_no_jump_and_no_kink(name: str, flow: float, speed: float) -> None:
    """Two-sided differences of pressure and torque, at any flow and speed, the ends included."""
    wheel, Q = WHEELS[name], flow * LAST[name]
    d = 1e-6 * LAST[name]
    before, here, after = (np.array(wheel.at(Q + k * d, speed)) for k in (-1.0, 0.0, 1.0))
    top = np.array([FANS[name]["points"][0]["ps_Pa"], 1e3 * FANS[name]["points"][-1]["P_kW"]])
    assert np.all(np.abs(after - here) < 2e-4 * top)
    assert np.all(np.abs(after - 2.0 * here + before) < 1e-9 * top)


@pytest.mark.parametrize("name", FANS)
def test_the_curve_ends_without_a_kink(name: str) -> None:
    """The same at the very ends of the table, at zero flow and at the maker's last point."""
    wheel = WHEELS[name]
    fans = wheel.bench.plant.fans
    low = float(fans.each.low[0])
    high = low + fans.cells.shape[2] / float(fans.each.per_cell[0])
    d = 1e-6 * LAST[name]
    kink = 1e-4 * d * FANS[name]["points"][0]["ps_Pa"] / LAST[name]
    for speed in (0.3, 1.0):
        for end in (low, 0.0, high, LAST[name]):
            before, here, after = (wheel.at(speed * end + k * d, speed)[0] for k in (-1, 0, 1))
            assert after - here == pytest.approx(here - before, abs=kink)


@EVERY
@given(names, st.floats(1.0, 1000.0), densities)
def test_reverse_flow_meets_a_rising_wall(name: str, share: float, density: float) -> None:
    """The more air is pressed back through a turning wheel, the more pressure it takes."""
    wheel, Q = WHEELS[name], -share * LAST[name]
    assert wheel.at(1.01 * Q, 1.0, density)[0] > wheel.at(Q, 1.0, density)[0] > 0.0


@pytest.mark.parametrize("name", FANS)
def test_speed_to_zero_is_smooth(name: str) -> None:
    """A wheel that all but stands gives what a standing one gives."""
    wheel, Q = WHEELS[name], 0.5 * LAST[name]
    standing, creeping = wheel.at(Q, 0.0), wheel.at(Q, 1e-9)
    assert creeping == pytest.approx(standing, rel=1e-6)
