"""What every practitioner knows of the methods, one test a sentence, on the whole model at rest.

All of it: common practice, no source.
"""

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from simfan.operating_map import DYNAMICALLY_UNSTABLE, StrategyMap, column
from simfan.plant.case import Case
from simfan.steady.path import strategy_map
from simfan.steady.reach import region
from tests.plants import GAINS, fan, plain
from tests.published.record import checked

DAMPER = {"blades": "opposed", "area": 4.0, "stroke_time": 12.0}
DRIVE = {"ramp_up": 40.0, "ramp_down": 60.0, "minimum": 0.2}
WAYS = {
    "damper": {"outlet_damper": DAMPER | {"place": "after volume"}},
    "damper before": {"outlet_damper": DAMPER | {"place": "before volume"}},
    "box": {"inlet_box_damper": {"stroke_time": 12.0}},
    "vanes": {"inlet_vanes": {"stroke_time": 10.0}},
    "speed": {"speed": DRIVE},
    "vanes and speed": {"inlet_vanes": {"stroke_time": 10.0}, "speed": DRIVE | {"maximum": 1.1},
                        "sequence": {"order": "together"}},
}
STIFF = {"slip": 1e-4}
"""A motor that keeps its speed, so that fan laws need no look at slip."""


@cache
def case() -> Case:
    """Fan B on a parabola, all ways; motor and wheel leave room for overspeed."""
    return plain(
        air={"temperature": 293.15, "barometer": 1.2 * 287.05 * 293.15},
        fan=fan("B") | {"design_flow": 50.0}, motor={"rating": 315e3, "poles": 6, **STIFF},
        process={"design": {"flow": 50.0, "pressure": 4000.0}},
        strategies={name: {**way, "controller": GAINS} for name, way in WAYS.items()})


@cache
def over_range(name: str) -> StrategyMap:
    return strategy_map(case(), name, 61)


def curve(flow: np.ndarray) -> np.ndarray:
    """The fan's own pressure [Pa] at its rated density, by the open damper's map."""
    line = over_range("damper").curves[0]
    return np.interp(flow, line.flow, line.pressure)


def test_closing_the_outlet_damper_moves_the_point_left_and_up_the_same_curve() -> None:
    points = [p for p in over_range("damper").points if p.stall_margin and p.stall_margin > 0.0]
    assert all(a.flow > b.flow and a.pressure < b.pressure for a, b in pairwise(points))
    flow, pressure = column(points, "flow"), column(points, "pressure")
    assert pressure == checked(curve(flow), "fan pressure along the damper's path [Pa]", rel=2e-3)


def test_it_lowers_the_power_of_a_fan_whose_power_rises_with_flow() -> None:
    points = [p for p in over_range("damper").points if p.flow < 60.0 and p.flow > 10.0]
    assert all(a.shaft_power > b.shaft_power for a, b in pairwise(points))


def test_at_the_wanted_flow_the_damper_takes_what_fan_gives_above_system_need() -> None:
    """The process needs 4000 Pa·(ṁ/ṁ_d)²·ρ_d/ρ, its air thicker by its own loss over the barometer:
    x·(1 + x/p) = 4000·(ṁ/ṁ_d)²·(1 + 4000/p) [calc]."""
    points, p = over_range("damper").points[3:-3], 1.2 * 287.05 * 293.15
    square = 4000.0 * (column(points, "mass_flow") / 60.0) ** 2 * (1.0 + 4000.0 / p)
    need = 0.5 * p * (np.sqrt(1.0 + 4.0 * square / p) - 1.0)
    taken = np.array([point.taken["outlet damper"] for point in points])
    assert taken == checked(column(points, "pressure") - need, "loss of the damper [Pa]", abs=2.0)


def test_far_enough_closed_it_reaches_the_surge_zone() -> None:
    found = over_range("damper")
    assert any(p.stability == DYNAMICALLY_UNSTABLE for p in found.points)
    assert not any(p.stability == DYNAMICALLY_UNSTABLE for p in over_range("damper before").points)


def test_the_box_damper_does_the_same_more_gently_and_can_still_reach_the_line() -> None:
    def lowest(name: str) -> float:
        found = over_range(name).turndown
        assert found.lowest is not None
        return found.lowest.flow

    assert lowest("box") < lowest("damper")
    assert min(p.stall_margin for p in over_range("box").points if p.stall_margin is not None) < 0.0


def test_vanes_hold_pressure_near_the_top_while_flow_falls() -> None:
    """From full flow to half of it the wheel's pressure falls by less than a quarter; on speed it
    falls by three quarters."""
    def at_half(name: str) -> float:
        points = over_range(name).points
        flow, pressure = column(points, "flow")[::-1], column(points, "pressure")[::-1]
        return float(np.interp(0.5 * flow[-1], flow, pressure) / pressure[-1])

    assert at_half("vanes") > 0.75
    assert at_half("speed") < 0.30


def test_closed_vanes_still_bleed_some_air() -> None:
    points = over_range("vanes").points
    assert points[-1].positions["inlet vanes"] == pytest.approx(0.0, abs=1e-6)
    assert 0.02 < points[-1].flow / points[0].flow < 0.15


def test_speed_rides_the_system_curve_by_the_fan_laws() -> None:
    """The volume's air is 3.8 % thicker at full pressure than at none, and the process passes half
    of that more or less in flow: 2 % is left for it."""
    points = over_range("speed").points
    n, flow = column(points, "speed"), column(points, "flow")
    top = points[0]
    assert flow == checked((n / top.speed * top.flow), "flow by the fan laws [m³/s]", rel=0.02)
    assert column(points, "pressure") == checked(
        (n / top.speed) ** 2 * top.pressure, "pressure by the fan laws [Pa]", rel=0.02)
    assert column(points, "shaft_power") == checked(
        (n / top.speed) ** 3 * top.shaft_power, "power by the fan laws [W]", rel=0.02)


def test_overspeed_with_vanes_gives_more_pressure_at_the_same_flow_within_the_motor() -> None:
    found = region(case(), "vanes and speed")
    both = [(most, rated) for most, rated in zip(found.highest, found.rated_open, strict=True)
            if most is not None and rated is not None]
    assert len(both) > 10
    assert all(most >= rated * (1.0 - 1e-9) for most, rated in both)
    assert np.mean([most / rated for most, rated in both]) > 1.05
