"""The curve between the maker's points: smooth where the points are, and no turn of its own."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from simfan.assemble.fan import RatedCurve, curve_through
from tests.plants import FANS, analytic


def through(flow: np.ndarray, pressure: np.ndarray, power: np.ndarray) -> RatedCurve:
    return curve_through(flow, pressure, power, None, None, "nominal")


def swings(curve: RatedCurve) -> list[str]:
    return [line for line in curve.assumed if "would swing" in line]


@pytest.mark.parametrize("name", sorted(FANS))
@pytest.mark.parametrize("n", [8, 12, 16])
def test_points_that_begin_level_at_shut_off_need_no_shape_keeping(name: str, n: int) -> None:
    """The printed analytic curves are level at shut-off (z = -1: 3/2 − 3/2 z² = 0), where a free
    spline may start the wrong way. Between their points the curve is nearer to them than a
    shape-keeping cubic, and its peak, where their curvature jumps, is within a third of a spacing
    [calc]."""
    true, last = analytic(name), FANS[name]["points"][-1]["Q_m3s"]
    flow = np.linspace(0.0, last, n)
    power = FANS[name]["design"]["P_W"] * (0.5 + 0.5 * (flow / last) ** 2)
    curve = through(flow, np.round(true(flow)), power)
    assert swings(curve) == []
    fine = np.linspace(0.0, last, 2001)
    off, kept = (np.abs(made(fine) - true(fine)).max() for made in (
        curve.pressure, PchipInterpolator(flow, true(flow))))
    assert off < 0.004 * FANS[name]["design"]["ps_Pa"] and off < kept
    peak = FANS[name]["curve"]["q_peak"] * FANS[name]["design"]["Q_m3s"]
    assert curve.stall_flow == pytest.approx(peak, abs=0.33 * flow[1])


def test_points_that_make_a_spline_swing_are_told() -> None:
    flow = np.arange(6.0)
    power = np.linspace(10.0, 20.0, 6)
    curve = through(flow, np.array([10.0, 10.1, 14.0, 14.1, 13.0, 9.0]), power)
    (told,) = swings(curve)
    assert told.startswith("fan, pressure: ")
    fine = np.linspace(0.0, 5.0, 2001)
    rising = np.diff(curve.pressure(fine)) > 0.0
    assert np.count_nonzero(np.diff(rising)) == 1


def test_an_end_that_the_points_leave_steeply_is_not_made_level() -> None:
    flow = np.linspace(0.0, 6.0, 7)
    curve = through(flow, 30.0 + 5.0 * flow - flow**2, 10.0 + flow)
    assert curve.pressure(0.0, 1) == pytest.approx(5.0, rel=1e-9)
    assert curve.pressure(6.0, 1) == pytest.approx(-7.0, rel=1e-9)
