"""Devices that fail and come back, a motor that loses its supply: what the plant shows."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simfan.history import History
from simfan.simulate import simulate
from tests.plants import DAMPER, plain

SPEED = {"speed": {"ramp_up": 40.0, "ramp_down": 60.0, "minimum": 0.3},
         "controller": {"gain": 0.8, "reset": 4.0}}
BESIDE_FAN = {"outlet_damper": {**DAMPER, "place": "before volume"},
              "controller": {"gain": 0.6, "reset": 5.0}}


def run(strategy: dict, timeline: list, duration: float = 120.0, **changes: object) -> History:
    return simulate(plain(**{"strategies": {"it": strategy}, "timeline": timeline,
                             "run": {"duration": duration, "starts_at": 40.0}} | changes), "it")


def at(history: History, name: str, time: float) -> float:
    return float(history.trace(name)[round(time / history.facts.record_s)])


def fault(time: float, of: str, state: str, **more: object) -> dict:
    by = {"by": more.pop("by")} if "by" in more else {}
    return {"at": time, "fault": {"of": of, "state": state, **by}, **more}


def test_a_stuck_element_stays_and_the_controller_goes_to_its_limit() -> None:
    history = run(BESIDE_FAN, [fault(10.0, "outlet damper", "stuck"),
                               {"at": 20.0, "setpoint": 30.0},
                               fault(90.0, "outlet damper", "well")])
    assert at(history, "element_position", 89.0) == at(history, "element_position", 11.0)
    assert at(history, "controller_output", 89.0) == 0.0
    assert at(history, "element_position", 100.0) < at(history, "element_position", 89.0) - 0.1
    assert [h.what for h in history.log] == [
        "outlet damper: stuck", "setpoint 40 → 30 m3/s", "outlet damper: well"]


def test_a_fault_of_an_element_that_is_not_there_changes_no_bit() -> None:
    without = run(SPEED, [{"at": 20.0, "setpoint": 36.0}])
    with_one = run(SPEED, [fault(10.0, "inlet vanes", "stuck"), {"at": 20.0, "setpoint": 36.0}])
    assert np.array_equal(without.trace("fan_flow"), with_one.trace("fan_flow"))


def test_a_slow_element_takes_that_much_longer() -> None:
    device = BESIDE_FAN | {"outlet_damper": {**BESIDE_FAN["outlet_damper"], "lag": 0.0}}
    moves = [{"at": 10.0, "manual_output": 0.9}, {"at": 40.0, "manual_output": 0.3}]
    well = run(device, moves)
    slow = run(device, [fault(5.0, "outlet damper", "slow", by=3.0), *moves])

    def took(history: History) -> float:
        position = history.trace("element_position")
        done = np.flatnonzero((history.time > 40.0) & (position < 0.3 + 1e-9))
        return float(history.time[done[0]]) - 40.0

    assert took(slow) == pytest.approx(3.0 * took(well), abs=3.0 * well.facts.record_s)


def test_an_offset_of_the_position_is_trimmed_out_by_the_loop() -> None:
    history = run(BESIDE_FAN, [fault(10.0, "outlet damper", "offset", by=0.05)])
    assert at(history, "fan_flow", 119.0) == pytest.approx(40.0, rel=1e-3)
    moved = at(history, "element_position", 119.0) - at(history, "element_demand", 119.0)
    assert moved == pytest.approx(0.05, abs=1e-4)


def test_a_biased_transmitter_is_believed() -> None:
    """The flow ends as far from the setpoint as the bias, the reading on it."""
    history = run(SPEED, [fault(10.0, "transmitter", "biased", by=0.05, over=20.0)], 300.0,
                  control={"scan": 0.25, "span": 60.0})
    assert at(history, "measured_value", 299.0) == pytest.approx(40.0, abs=0.02)
    assert at(history, "true_value", 299.0) == pytest.approx(40.0 - 3.0, abs=0.02)


def test_a_drift_grows_over_its_time() -> None:
    history = run(SPEED, [{"at": 5.0, "manual_output": 0.7},
                          fault(40.0, "transmitter", "biased", by=0.04, over=20.0)],
                  control={"scan": 0.25, "span": 60.0})
    apart = history.trace("measured_value") - history.trace("true_value")
    at_half = float(apart[round(50.0 / history.facts.record_s)])
    assert at_half == pytest.approx(1.2, abs=0.05)
    assert float(apart[-1]) == pytest.approx(2.4, abs=0.02)


def test_a_frozen_reading_lets_the_loop_run_away_to_its_limit() -> None:
    history = run(SPEED, [fault(10.0, "transmitter", "frozen"), {"at": 20.0, "setpoint": 42.0}])
    assert len(set(history.trace("measured_value")[history.time > 11.0])) == 1
    assert at(history, "controller_output", 119.0) == 1.0


@pytest.mark.parametrize(("state", "end"), [("lost low", 1.0), ("lost high", 0.0)])
def test_a_lost_signal_drives_the_output_away(state: str, end: float) -> None:
    """A flow that reads zero asks for more; one that reads the span's end for less."""
    history = run(SPEED, [fault(10.0, "transmitter", state)])
    assert at(history, "controller_output", 119.0) == end


def test_a_tripped_motor_takes_nothing_and_the_fan_coasts_down() -> None:
    history = run(SPEED, [{"at": 20.0, "motor": "trip"}])
    after = history.time > 20.1
    assert (history.trace("electrical_power")[after] == 0.0).all()
    assert (history.trace("motor_load")[after] == 0.0).all()
    speed = history.trace("speed_ratio")[history.time >= 20.0]
    assert (np.diff(speed) < 0.0).all()
    assert [h.what for h in history.log] == ["motor loses its supply"]


def test_a_drive_takes_the_turning_wheel_over_where_it_is() -> None:
    """Flying restart: the speed leaves off falling at once and rises by the ramp, without a jump of
    torque beyond what the ramp takes."""
    history = run(SPEED, [{"at": 20.0, "motor": "trip"}, {"at": 30.0, "motor": "restart"}])
    n = history.trace("speed_ratio")
    low = float(n.min())
    assert at(history, "speed_ratio", 30.0) == pytest.approx(low, abs=2e-3)
    rise = np.gradient(n, history.time)
    assert rise.max() <= 1.0 / 40.0 * 1.05
    assert at(history, "fan_flow", 119.0) == pytest.approx(40.0, rel=0.02)


def test_a_motor_on_the_line_pulls_the_wheel_up_again() -> None:
    history = run(BESIDE_FAN, [{"at": 20.0, "motor": "trip"}, {"at": 30.0, "motor": "restart"}])
    assert at(history, "motor_load", 30.5) > 1.0
    assert at(history, "speed_ratio", 60.0) > 0.99


EVENTS = st.lists(st.sampled_from([
    {"motor": "trip"}, {"motor": "restart"}, {"manual_output": 0.2}, {"manual_output": 0.9},
    {"fault": {"of": "speed", "state": "stuck"}}, {"fault": {"of": "speed", "state": "well"}},
    {"fault": {"of": "transmitter", "state": "frozen"}},
    {"fault": {"of": "transmitter", "state": "lost low"}},
    {"fault": {"of": "transmitter", "state": "well"}},
    {"setpoint": 20.0}, {"setpoint": 44.0}]), min_size=1, max_size=7)


@settings(max_examples=25, deadline=None)
@given(EVENTS)
def test_any_order_of_faults_and_trips_ends_finite_and_is_told_in_full(events: list) -> None:
    timeline = [{"at": 5.0 + 8.0 * k, **event} for k, event in enumerate(events)]
    history = run(SPEED, timeline, 80.0)
    assert history.audit.stopped is None
    assert np.isfinite(history.trace("fan_flow")).all()
    assert [h.at_s for h in history.log] == [event["at"] for event in timeline]
