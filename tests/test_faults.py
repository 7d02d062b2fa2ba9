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
    by = {key: more.pop(key) for key in ("by", "lasts") if key in more}
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


# Faults that last a time, noise, and the controller's answer to a lost signal ------------------


def test_a_fault_that_lasts_a_time_ends_by_itself() -> None:
    history = run(BESIDE_FAN, [fault(10.0, "outlet damper", "stuck", lasts=30.0),
                               {"at": 20.0, "setpoint": 30.0}])
    assert at(history, "element_position", 39.0) == at(history, "element_position", 11.0)
    assert at(history, "element_position", 60.0) < at(history, "element_position", 39.0) - 0.1
    assert [(h.at_s, h.what) for h in history.log] == [
        (10.0, "outlet damper: stuck for 30 s"), (20.0, "setpoint 40 → 30 m3/s"),
        (40.0, "outlet damper: no longer stuck")]


def test_a_fault_that_ends_leaves_another_one_of_the_same_device_alone() -> None:
    history = run(BESIDE_FAN, [fault(10.0, "outlet damper", "offset", by=0.05),
                               fault(20.0, "outlet damper", "slow", by=3.0, lasts=10.0)])
    moved = at(history, "element_position", 119.0) - at(history, "element_demand", 119.0)
    assert moved == pytest.approx(0.05, abs=1e-4)


def test_a_noise_burst_shakes_the_reading_by_its_deviation_and_ends() -> None:
    """Standard deviation of the reading's noise, by hand so that the flow stands still: over 400
    scans its own error is 1/√800, 3.5 %."""
    history = run(SPEED, [{"at": 2.0, "manual_output": 0.7},
                          fault(60.0, "transmitter", "noisy", by=0.02, lasts=100.0)], 200.0,
                  control={"scan": 0.25, "span": 60.0})
    apart = history.trace("measured_value") - history.trace("true_value")
    scans = (np.round(history.time / 0.25) * 0.25 == np.round(history.time, 9))
    burst = (history.time >= 60.0) & (history.time < 160.0)
    assert np.std(apart[burst & scans]) == pytest.approx(0.02 * 60.0, rel=0.12)
    quiet = (history.time >= 160.25) | ((history.time < 60.0) & (history.time > 40.0))
    assert np.abs(apart[quiet]).max() < 1e-3
    assert [h.what for h in history.log] == [
        "controller to manual at 70 %", "transmitter: noisy 2 % for 100 s",
        "transmitter: no longer noisy"]


def lost(answer: dict, timeline: list, duration: float = 120.0) -> History:
    return run(SPEED, timeline, duration, control={"scan": 0.25, "lost_signal": answer})


def test_a_controller_that_holds_its_output_on_a_lost_signal_goes_on_without_a_bump() -> None:
    history = lost({"answer": "hold output"}, [
        fault(10.0, "transmitter", "lost low", lasts=40.0), {"at": 80.0, "setpoint": 36.0}])
    output = history.trace("controller_output")
    held = (history.time >= 10.25) & (history.time < 50.0)
    assert np.ptp(output[held]) == 0.0
    assert at(history, "controller_output", 50.5) == pytest.approx(output[held][0], abs=5e-3)
    assert at(history, "fan_flow", 79.0) == pytest.approx(40.0, rel=1e-3)
    assert at(history, "fan_flow", 119.0) == pytest.approx(36.0, rel=0.02)
    assert [h.what for h in history.log] == [
        "transmitter: lost low for 40 s; the controller holds its output",
        "transmitter: no longer lost low", "setpoint 40 → 36 m3/s"]


def test_a_controller_that_goes_to_an_output_stays_there_until_the_signal_is_back() -> None:
    history = lost({"answer": "go to output", "output": 0.4}, [
        fault(10.0, "transmitter", "lost high"), fault(50.0, "transmitter", "well")], 180.0)
    output = history.trace("controller_output")
    assert set(output[(history.time >= 10.25) & (history.time < 50.0)]) == {0.4}
    assert at(history, "fan_flow", 179.0) == pytest.approx(40.0, rel=5e-3)
    assert [h.what for h in history.log] == [
        "transmitter: lost high; the controller goes to 40 %", "transmitter: well"]


def test_a_controller_that_goes_to_manual_waits_for_somebody() -> None:
    history = lost({"answer": "manual"}, [
        fault(10.0, "transmitter", "lost low", lasts=20.0), {"at": 60.0, "setpoint": 36.0},
        {"at": 80.0, "automatic": True}], 160.0)
    output = history.trace("controller_output")
    assert np.ptp(output[(history.time >= 10.25) & (history.time < 80.0)]) == 0.0
    assert at(history, "fan_flow", 159.0) == pytest.approx(36.0, rel=0.02)
    assert [h.what for h in history.log] == [
        "transmitter: lost low for 20 s; the controller goes to manual",
        "transmitter: no longer lost low", "setpoint 40 → 36 m3/s", "controller to automatic"]


def test_a_controller_in_manual_is_left_alone_by_a_lost_signal() -> None:
    history = lost({"answer": "go to output", "output": 0.9}, [
        {"at": 5.0, "manual_output": 0.6}, fault(10.0, "transmitter", "lost low")])
    assert at(history, "controller_output", 119.0) == 0.6
    assert history.log[-1].what == "transmitter: lost low; the controller is in manual"
