"""What defines each structure of loops, on running plants."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from simfan.assemble import assemble
from simfan.history import History
from simfan.kernel import advance, layout
from simfan.metrics import judge
from simfan.plant.case import Case
from simfan.simulate import prepare, simulate
from simfan.steady.balance import hold, settle, starting_state
from tests.plants import DAMPER, begin, plain

SCAN = 0.25
FAST, SLOW = {"gain": 0.9, "reset": 5.0}, {"gain": 0.5, "reset": 30.0}
VANES = {"inlet_vanes": {"stroke_time": 10.0}}
SPEED = {"speed": {"ramp_up": 40.0, "ramp_down": 60.0, "minimum": 0.3}}
BOTH = {**VANES, **SPEED, "controller": FAST}
DRIVE = {**SPEED, "controller": {"gain": 0.8, "reset": 4.0}}
TARGET = 0.7
MID = {**BOTH, "mid_ranging": {"target": TARGET, "controller": SLOW}}
SPLIT = {**BOTH, "sequence": {"order": "speed first"}}
FILTER = {"discharge": {"length": 20.0, "area": 4.0}, "volume": 600.0,
          "inlet_filter": {"flow": 45.0, "pressure": 400.0}}


def plant(strategy: Mapping[str, Any], *events: Mapping[str, Any], duration: float = 300.0,
          starts: float = 36.0, **changes: Any) -> Case:
    """One strategy on the plain case's duct, recorded at every scan."""
    run = {"duration": duration, "starts_at": starts, "record": SCAN}
    return plain(**{"strategies": {"it": strategy}, "timeline": list(events), "run": run,
                    **changes})


def ran(strategy: Mapping[str, Any], *events: Mapping[str, Any], **options: Any) -> History:
    history = simulate(plant(strategy, *events, **options), "it")
    assert history.audit.stopped is None
    return history


def columns(history: History, name: str) -> dict[str, np.ndarray]:
    """A trace of every loop by the loop's name."""
    return dict(zip(history.items["loop"], history.traces[name].T, strict=True))


def error(history: History) -> np.ndarray:
    return history.traces["setpoint"][:, 0] - history.traces["measured_value"][:, 0]


# -- mid-ranging

DISTURBED = ({"at": 20.0, "setpoint": 30.0}, {"at": 400.0, "process_resistance": 1.25})


def test_mid_ranging_holds_the_flow_and_brings_the_vanes_back_to_their_target() -> None:
    history = ran(MID, *DISTURBED, duration=900.0)
    flow, output = history.traces["measured_value"][:, 0], columns(history, "controller_output")
    vanes, speed = output["flow"], output["vanes' output"]
    assert vanes[0] == pytest.approx(TARGET, abs=1e-6)
    for at in (400.0, 900.0):
        k = int(at / SCAN) - 1
        assert flow[k] == pytest.approx(30.0, abs=0.02)
        assert vanes[k] == pytest.approx(TARGET, abs=0.002)
    after = slice(int(20.0 / SCAN), int(400.0 / SCAN))
    assert vanes[after].min() < TARGET - 0.1  # the vanes moved first
    assert abs(speed[int(399.0 / SCAN)] - speed[0]) > 0.1  # the speed did the rest


def test_while_the_slow_loop_works_the_flow_hardly_moves() -> None:
    """From 80 s after the step the vanes travel back under the flow's own control."""
    history = ran(MID, DISTURBED[0], duration=400.0)
    late = history.time > 100.0
    vanes = history.traces["controller_output"][late, 0]
    assert np.ptp(vanes) > 0.03
    assert np.abs(error(history)[late]).max() < 0.02 * 30.0


def test_with_mid_ranging_the_integral_of_the_error_is_zero_so_overshoot_cannot_be_avoided(
) -> None:
    """∫e dt = (Ti/Kc)·Δu: zero where the vanes' output ends as it began, which a split range does
    not. Unsaturated, plain PI."""
    mid, split = (ran(s, DISTURBED[0], duration=900.0) for s in (MID, SPLIT))
    for history in (mid, split):
        output = history.traces["controller_output"][:, 0]
        assert output.min() > 0.0 and output.max() < 1.0
        share = error(history) / (history.facts.tuning["span_high"])
        expected = FAST["reset"] / FAST["gain"] * (output[-1] - output[0])
        assert SCAN * share.sum() == pytest.approx(expected, abs=0.02)
    moved = np.abs(error(mid)).sum()
    assert abs(error(mid).sum()) < 0.01 * moved
    assert abs(error(split).sum()) > 0.3 * np.abs(error(split)).sum()
    assert error(mid).min() < -3.0 and error(mid).max() > 0.3


# -- cascade

FAR = {"scan": SCAN, "measured_at": "process", "transmitter": {"lag": 10.0, "dead_time": 3.0}}
OUTER = {"gain": 0.7, "reset": 12.0}
ALONE = {**SPEED, "controller": OUTER}
CASCADE = {**ALONE, "cascade": {"holds": "flow", "controller": {"gain": 1.0, "reset": 3.0}}}
CLOGS = {"at": 30.0, "inlet_resistance": 3.0, "over": 20.0}


def test_a_cascade_catches_what_disturbs_its_inner_loop_before_the_outer_value_moves_much() -> None:
    """A filter clogs before the fan; the flow behind the volume is seen late, that at the fan at
    once. The wanted flow and the elements' last position are the same."""
    alone, cascade = (ran(s, CLOGS, control=FAR, ductwork=FILTER) for s in (ALONE, CASCADE))
    deviation = [np.abs(h.traces["true_value"][:, 0] - 36.0) for h in (alone, cascade)]
    assert deviation[1].sum() < 0.4 * deviation[0].sum()
    assert deviation[1].max() < 0.7 * deviation[0].max()
    for history in (alone, cascade):
        assert history.traces["true_value"][-1, 0] == pytest.approx(36.0, abs=0.05)
    assert alone.traces["element_position"][-1] == pytest.approx(
        cascade.traces["element_position"][-1], abs=0.002)


def test_in_a_cascade_the_inner_setpoint_is_the_outer_output_over_the_inner_span() -> None:
    history = ran(CASCADE, {"at": 10.0, "setpoint": 30.0}, control=FAR, ductwork=FILTER)
    assert history.items["loop"] == ("flow", "inner flow")
    span = history.facts.tuning["span_high"]
    assert history.traces["setpoint"][:, 1] == pytest.approx(
        span * history.traces["controller_output"][:, 0], rel=1e-9)


def test_an_inner_loop_at_its_limit_does_not_wind_the_outer_one_up() -> None:
    """The wanted flow is beyond reach for four minutes. Asked for less, the speed falls within a
    few scans."""
    case = plant(CASCADE, {"at": 10.0, "process_resistance": 4.0}, {"at": 250.0, "setpoint": 15.0},
                 control=FAR, ductwork=FILTER)
    history = simulate(case, "it")
    inner = history.traces["controller_output"][:, 1]
    k = int(250.0 / SCAN)
    assert inner[k - 1] == 1.0
    assert inner[k + 40] < 0.95


# -- two loops

TWO = {"outlet_damper": {**DAMPER, "place": "after volume"}, **SPEED, "controller": FAST,
       "second_loop": {"holds": "pressure", "measured_at": "volume", "span": 8000.0,
                       "setpoint": 3000.0, "moves": "speed",
                       "controller": {"gain": 0.5, "reset": 10.0}}}


def test_two_loops_hold_both_values_at_rest_and_each_element_serves_its_own() -> None:
    history = ran(TWO, {"at": 10.0, "setpoint": 28.0}, {"at": 200.0, "process_resistance": 0.8},
                  duration=500.0)
    assert history.items["loop"] == ("flow", "pressure")
    for at in (0.0, 199.0, 499.0):
        flow, pressure = history.traces["true_value"][int(at / SCAN)]
        assert flow == pytest.approx(36.0 if at == 0.0 else 28.0, abs=0.05)
        assert pressure == pytest.approx(3000.0, abs=10.0)
    output, position = history.traces["controller_output"], history.traces["element_position"]
    assert history.items["element"] == ("outlet damper", "speed")
    assert position[-1, 0] == pytest.approx(output[-1, 0], abs=1e-3)
    assert position[-1, 1] == pytest.approx(0.3 + 0.7 * output[-1, 1], abs=1e-3)


# -- overrides

LOAD = {"motor_load": 0.4, "lag": 2.0, "controller": {"gain": 0.1, "reset": 2.0}}
"""The load of a wheel that is being brought up is far above that at rest: a gain of 0.5 on a lag of
0.5 s would hunt."""


def limited(*overrides: Mapping[str, Any], **more: Any) -> dict[str, Any]:
    return {**DRIVE, "overrides": list(overrides), **more}


def test_a_load_limiter_keeps_the_motor_at_its_limit_and_gives_the_output_back_at_once() -> None:
    """At 45 m³/s the motor gives more. Asked for less, the flow's controller has the output again
    within two scans, after five minutes without it."""
    history = ran(limited(LOAD), {"at": 10.0, "setpoint": 50.0}, {"at": 400.0, "setpoint": 25.0},
                  duration=600.0, starts=45.0)
    load, output = history.traces["motor_load"][:, 0], history.traces["controller_output"][:, 0]
    held = (history.time > 150.0) & (history.time < 400.0)
    assert load[0] > 0.6
    assert load[held].mean() == pytest.approx(0.4, abs=0.005)
    assert load[held].max() < 0.42
    k = int(400.0 / SCAN)
    fall = 0.8 * (history.traces["measured_value"][k, 0] - 25.0) / history.facts.tuning["span_high"]
    assert output[k - 1] - output[k + 2] > 0.9 * fall
    assert history.traces["true_value"][-1, 0] == pytest.approx(25.0, abs=0.05)
    assert load[-1] < 0.3


def test_a_limiter_that_is_not_needed_changes_nothing() -> None:
    """The same run to the last bit, beside one without."""
    free = ran(DRIVE, DISTURBED[0])
    idle = ran(limited({**LOAD, "motor_load": 1.5}), DISTURBED[0])
    assert np.array_equal(free.traces["true_value"][:, 0], idle.traces["true_value"][:, 0])


@pytest.mark.parametrize(("key", "limit", "asked"), [
    ("highest_pressure", 2500.0, 45.0), ("lowest_pressure", 2000.0, 18.0)])
def test_a_pressure_limiter_keeps_the_volume_s_pressure(key: str, limit: float, asked: float
                                                         ) -> None:
    """Both ways: the higher of two outputs where the pressure is not to fall."""
    strategy = limited({key: limit, "controller": {"gain": 0.5, "reset": 5.0}})
    case = plant(strategy, {"at": 5.0, "setpoint": asked}, starts=34.0)
    history = simulate(case, "it")
    barometer = 98600.0
    pressure = history.traces["node_pressure"][-1, history.items["node"].index("volume")]
    assert (pressure - (barometer if pressure > 5e4 else 0.0)) == pytest.approx(limit, abs=10.0)
    assert abs(history.traces["true_value"][-1, 0] - asked) > 3.0


NEAR = {"outlet_damper": {**DAMPER, "place": "before volume"}, "controller": FAST}
DEEP = {"at": 20.0, "setpoint": 14.0, "over": 60.0}


def stall_margin(history: History) -> np.ndarray:
    return np.asarray(history.traces["fan_flow"] - history.traces["stall_flow"])[:, 0] / np.maximum(
        history.traces["fan_flow"][:, 0], 1.0)


def test_a_margin_limiter_keeps_the_fan_from_its_stall_line() -> None:
    strategy = {**NEAR, "overrides": [{"stall_margin": 0.1,
                                       "controller": {"gain": 0.3, "reset": 5.0}}]}
    free, kept = (ran(s, DEEP, starts=45.0) for s in (NEAR, strategy))
    assert stall_margin(free).min() < -0.1
    assert stall_margin(kept).min() > 0.05
    assert stall_margin(kept)[-1] == pytest.approx(0.1, abs=0.005)


# -- stall floor

def test_above_its_stall_floor_the_fan_never_comes_nearer_to_stall_than_the_margin() -> None:
    """The floor's table is that of rest; on the way down the flow may pass it by a little."""
    free, kept = (ran(s, DEEP, starts=45.0)
                  for s in (NEAR, {**NEAR, "stall_floor": {"margin": 0.1}}))
    assert stall_margin(free).min() < -0.1
    assert stall_margin(kept).min() > 0.08
    assert stall_margin(kept)[-1] == pytest.approx(0.1, abs=0.02)


def test_the_stall_floor_moves_with_the_pressure_that_the_fan_works_against() -> None:
    """Against more pressure the lowest output is higher: one number could not do it."""
    ends = []
    for fixed in (400.0, 1500.0):
        history = ran({**NEAR, "stall_floor": {"margin": 0.1}}, DEEP, process={
            "fixed_pressure": fixed, "design": {"flow": 45.0, "pressure": 3500.0}})
        assert stall_margin(history).min() > 0.05
        ends.append(history.traces["controller_output"][-1, 0])
    assert ends[1] > ends[0] + 0.01


# -- feedforward

def integrals(strategy: Mapping[str, Any]) -> np.ndarray:
    """(2,) of the first loop before and after a setpoint change, in shares of the output."""
    case = plant(strategy, duration=300.0, starts=45.0)
    assembled, going = prepare(case, "it")
    _, plan, _ = begin(case, "it", going.step, going.record)
    plan.setpoint[40:, 0] = 30.0
    traces = layout.traces(assembled.plant)
    state = starting_state(assembled, hold(assembled, 45.0), 45.0)
    before = float(state.loop.integral[0])
    assert advance.advance(assembled.plant, plan, state, traces,
                           assembled.plant.last_tick) == layout.DONE
    return np.array([before, float(state.loop.integral[0])])


def test_with_all_of_the_output_fed_forward_the_controller_s_integral_hardly_moves() -> None:
    """The plant is as designed, so the feedforward gives what the setpoint needs."""
    alone, fed = integrals(DRIVE), integrals({**DRIVE, "feedforward": {"share": 1.0}})
    assert abs(alone[1] - alone[0]) > 0.3
    assert np.abs(fed).max() < 0.005


def test_a_fed_setpoint_change_leaves_less_error() -> None:
    """A sluggish controller shows it: the output moves with the setpoint, not with the error."""
    slow = {**SPEED, "controller": {"gain": 0.2, "reset": 8.0}}
    change = {"at": 20.0, "setpoint": 27.0, "over": 30.0}
    alone, fed = ran(slow, change), ran({**slow, "feedforward": {}}, change)
    assert np.abs(error(fed)).sum() < 0.5 * np.abs(error(alone)).sum()


def test_feedforward_does_nothing_against_a_load() -> None:
    """It sees the setpoint alone: the same run, beside one without."""
    load = {"at": 20.0, "process_resistance": 0.8}
    alone, fed = ran(DRIVE, load), ran({**DRIVE, "feedforward": {}}, load)
    assert fed.traces["true_value"][:, 0] == pytest.approx(alone.traces["true_value"][:, 0],
                                                           abs=1e-6)


# -- setpoint rate, gap

def test_a_setpoint_rate_limit_makes_a_step_a_ramp_but_the_step_is_judged() -> None:
    """The run is that of a written ramp; the error counts from what the user asked for."""
    span = 60.0
    slow = {**SPEED, "controller": {**DRIVE["controller"], "setpoint_full_span": 120.0}}
    control = {"scan": SCAN, "span": span}
    limited_ = ran(slow, {"at": 20.0, "setpoint": 27.0}, control=control)
    ramped = ran(DRIVE, {"at": 20.0, "setpoint": 27.0, "over": 120.0 * 9.0 / span}, control=control)
    assert limited_.traces["true_value"][:, 0] == pytest.approx(ramped.traces["true_value"][:, 0],
                                                                abs=0.15)
    assert limited_.traces["setpoint"][int(21.0 / SCAN), 0] == 27.0
    criteria = plant(slow).criteria
    judged = [judge(h, criteria).tracking.whole.iae_percent_s for h in (limited_, ramped)]
    assert judged[0] > 2.0 * judged[1]


def test_gap_action_lets_noise_pass_with_fewer_movements() -> None:
    noisy = {"scan": SCAN, "transmitter": {"noise": 0.004}}
    gapped = {**VANES, "controller": {**FAST, "gap": 0.015, "gap_gain": 0.1}}
    plain_, kept = (ran(s, control=noisy) for s in ({**VANES, "controller": FAST}, gapped))
    travel = [np.abs(np.diff(h.traces["element_position"][:, 0])).sum() for h in (plain_, kept)]
    assert travel[1] < 0.25 * travel[0]
    assert np.abs(kept.traces["true_value"][:, 0] - 36.0).max() < 0.03 * 36.0


# -- split range

def in_turn(overlap: float) -> dict[str, Any]:
    """From 60 % speed on the vanes close."""
    return {**BOTH, "speed": {**SPEED["speed"], "minimum": 0.6},
            "sequence": {"order": "speed first", "overlap": overlap}}


def gains(overlap: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(outputs, held values, positions) at rest with speed first, split at half."""
    strategy = in_turn(overlap)
    assembled = assemble(plant(strategy), "it", 0.025, SCAN)
    outputs = np.linspace(0.3, 0.7, 41)
    rest = [settle(assembled, u) for u in outputs]
    tables = [np.array(e.sequence).T for e in assembled.elements]
    position = np.array([[np.interp(u, *t) for t in tables] for u in outputs])
    return outputs, np.array([r.held for r in rest]), position


def test_where_split_ranges_overlap_their_gains_add() -> None:
    """Both elements move there: more flow per output than with either alone beside the overlap."""
    outputs, held, position = gains(0.2)
    slope = np.gradient(held, outputs)
    both = np.abs(outputs - 0.5) < 0.085
    assert (np.abs(np.diff(position[both], axis=0)) > 0.0).all()
    edges = [slope[np.argmin(np.abs(outputs - u))] for u in (0.37, 0.63)]
    assert slope[both].min() > 1.1 * max(edges)


def test_within_a_gap_the_output_moves_and_nothing_else_does() -> None:
    outputs, held, position = gains(-0.2)
    spot = np.abs(outputs - 0.5) < 0.0999
    assert spot.sum() > 15
    assert np.ptp(position[spot], axis=0) == pytest.approx(0.0, abs=1e-12)
    assert np.ptp(held[spot]) < 1e-6
    assert held[-1] - held[0] > 5.0


def test_a_gap_leaves_the_flow_alone_until_the_output_has_crossed_it() -> None:
    """A setpoint just beyond what one element gives: the output crosses the gap first, meanwhile
    the error stays."""
    def late(overlap: float) -> float:
        outputs, held, _ = gains(overlap)
        corner = float(held[outputs < 0.5 - 0.5 * abs(overlap) - 0.01][-1])
        case = plant(in_turn(overlap), {"at": 20.0, "setpoint": corner + 1.5}, starts=corner)
        history = simulate(case, "it")
        outside = np.abs(error(history)) > 0.2
        return float(history.time[outside].max() - 20.0)

    assert late(-0.3) > 1.5 * late(0.0)
