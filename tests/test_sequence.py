"""Vanes and speed on one output, and skip bands of the drive, in runs.

Split range with overlap or gap, a reference that passes a skip band and does not rest in it: common
practice, no source.
"""

import numpy as np
import pytest

from simfan.history import History
from simfan.simulate import simulate
from tests.plants import GAINS, plain

MOST, LEAST, RAMP = 1.0, 0.4, 40.0
STAIR = 2.0
"""Between two steps of the output [s]; the elements follow a hundredth of their range within it."""
BOTH = {"inlet_vanes": {"stroke_time": 10.0}, "controller": GAINS,
        "speed": {"ramp_up": RAMP, "ramp_down": RAMP, "minimum": LEAST, "maximum": MOST}}


def down_by_hand(strategy: dict, stairs: int = 50) -> History:
    """The output by hand from 100 % to nothing in equal steps."""
    timeline = [{"at": STAIR * (k + 1), "manual_output": 1.0 - k / stairs}
                for k in range(stairs + 1)]
    case = plain(strategies={"it": strategy}, timeline=timeline,
                 run={"duration": STAIR * (stairs + 2), "starts_at": 40.0})
    return simulate(case, "it")


def by_output(history: History, signal: str, element: str | None = None,
              ) -> tuple[np.ndarray, np.ndarray]:
    """(output, what the signal says just before the next step of the output)."""
    ends = np.arange(2, round(history.facts.duration_s / STAIR) + 1) * STAIR
    at = np.searchsorted(history.time, ends - 1e-6) - 1
    return history.trace("controller_output")[at], history.trace(signal, element)[at]


def moving(history: History, element: str) -> np.ndarray:
    """Outputs between which the element's demand changes: lowest and highest."""
    output, demand = by_output(history, "element_demand", element)
    k = np.flatnonzero(np.abs(np.diff(demand)) > 1e-9)
    return np.array([output[k + 1].min(), output[k].max()])


@pytest.mark.parametrize(("order", "overlap", "lower", "upper"), [
    ("vanes first", 0.2, "speed", "inlet vanes"), ("vanes first", 0.0, "speed", "inlet vanes"),
    ("vanes first", -0.2, "speed", "inlet vanes"), ("speed first", 0.2, "inlet vanes", "speed"),
    ("speed first", -0.2, "inlet vanes", "speed")])
def test_each_element_moves_on_its_own_leg_and_both_in_the_overlap(
    order: str, overlap: float, lower: str, upper: str) -> None:
    """About a split at 50 %: the lower leg ends at 50 % + overlap/2, the upper begins at
    50 % − overlap/2."""
    history = down_by_hand({**BOTH, "sequence": {
        "order": order, "split": 0.5, "overlap": overlap}})
    assert moving(history, lower) == pytest.approx([0.0, 0.5 + 0.5 * overlap], abs=1e-9)
    assert moving(history, upper) == pytest.approx([0.5 - 0.5 * overlap, 1.0], abs=1e-9)


def test_in_the_gap_nothing_moves_while_the_output_crosses_it() -> None:
    """Vanes shut to their least opening, speed still at its most; the flow stands, too."""
    history = down_by_hand({**BOTH, "sequence": {
        "order": "vanes first", "split": 0.5, "overlap": -0.4, "least_opening": 0.2}})
    for element, stands in (("inlet vanes", 0.2), ("speed", MOST)):
        output, position = by_output(history, "element_position", element)
        gap = (output > 0.301) & (output < 0.659)
        assert np.count_nonzero(gap) >= 15
        assert position[gap] == pytest.approx(stands, abs=1e-3)
    output, flow = by_output(history, "fan_flow")
    gap = (output > 0.301) & (output < 0.559)  # the air needs some seconds to stand
    assert np.ptp(flow[gap]) < 0.005 * flow.max() < np.ptp(flow)


def test_in_the_overlap_both_move() -> None:
    history = down_by_hand({**BOTH, "sequence": {
        "order": "vanes first", "split": 0.5, "overlap": 0.4}})
    for element in ("inlet vanes", "speed"):
        output, position = by_output(history, "element_position", element)
        inside = position[(output > 0.301) & (output < 0.699)]
        assert inside.size >= 15 and np.all(np.diff(inside) < -1e-3), element


SKIP = (0.60, 0.70)
SKIPPING = {"controller": GAINS, "speed": {**BOTH["speed"],
                                           "skip": {"low": SKIP[0], "high": SKIP[1]}}}


def inside(value: np.ndarray) -> np.ndarray:
    return (value > SKIP[0] + 1e-6) & (value < SKIP[1] - 1e-6)


def test_by_hand_through_a_skip_band_the_reference_jumps_and_the_speed_passes_on_its_ramp() -> None:
    """The demand stays on the side it comes from; a tenth of rated speed takes 4 s at 40 s."""
    history = down_by_hand(SKIPPING)
    output, demand = by_output(history, "element_demand", "speed")
    wanted = LEAST + (MOST - LEAST) * output
    assert not inside(history.trace("element_demand", "speed")).any()
    assert demand[inside(wanted)] == pytest.approx(SKIP[1])
    assert demand[~inside(wanted)] == pytest.approx(wanted[~inside(wanted)])
    passing = inside(history.trace("element_position", "speed"))
    assert 0.0 < np.count_nonzero(passing) * history.facts.record_s == pytest.approx(
        RAMP * (SKIP[1] - SKIP[0]), abs=2.0 * history.facts.record_s)


def test_a_loop_that_wants_a_speed_in_the_skip_band_is_never_at_rest_there() -> None:
    """It goes from side to side: the position in the band moves at the full rate, always."""
    case = plain(strategies={"free": {"controller": GAINS, "speed": BOTH["speed"]},
                             "it": SKIPPING},
                 process={"design": {"flow": 45.0, "pressure": 3500.0}},
                 run={"duration": 300.0, "starts_at": 42.0},
                 timeline=[{"at": 5.0, "setpoint": 30.0}])
    free = simulate(case, "free").trace("element_position", "speed")
    assert inside(free[-1:]).all()  # else the rest shows nothing
    history = simulate(case, "it")
    assert not inside(history.trace("element_demand", "speed")).any()
    position = history.trace("element_position", "speed")
    both = inside(position[1:]) & inside(position[:-1])
    assert np.count_nonzero(both) > 10
    rate = np.abs(np.diff(position))[both] / history.facts.record_s
    assert rate == pytest.approx(1.0 / RAMP, rel=1e-6)
