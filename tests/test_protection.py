"""The cause-and-effect table: what acts, when, and what it does to the plant."""

import pytest

from simfan.history import History
from simfan.simulate import simulate
from tests.plants import DAMPER, plain
from tests.test_faults import SPEED, at

AFTER_VOLUME = {"outlet_damper": {**DAMPER, "place": "after volume"},
                "controller": {"gain": 0.6, "reset": 5.0}}


def run(strategy: dict, protection: list, timeline: list | None = None, duration: float = 120.0,
        **changes: object) -> History:
    return simulate(plain(**{
        "strategies": {"it": strategy}, "protection": protection,
        "timeline": timeline or [{"at": 10.0, "setpoint": 20.0}],
        "run": {"duration": duration, "starts_at": 40.0}} | changes), "it")


def test_an_alarm_changes_no_bit() -> None:
    with_one = run(SPEED, [{"speed": 0.1, "effect": "alarm"}])
    without = run(SPEED, [])
    assert (with_one.trace("fan_flow") == without.trace("fan_flow")).all()
    assert with_one.log[0].what == "alarm (speed above 10 % of rated)"


def test_stall_for_a_time_trips_the_motor_and_nothing_else_does() -> None:
    """A damper behind the volume is closed into surge: without the time it trips at once, with it
    only once a single stay beyond the line lasts so long."""
    at_once = run(AFTER_VOLUME, [{"stall_margin": 0.0, "effect": "trip"}])
    later = run(AFTER_VOLUME, [{"stall_margin": 0.0, "after": 5.0, "effect": "trip"}])
    told = [h for h in at_once.log if h.what.startswith("trip")]
    assert len(told) == 1
    assert at(at_once, "electrical_power", 119.0) == 0.0
    first = at_once.time[at_once.trace("fan_flow") < at_once.trace("stall_flow")][0]
    assert told[0].at_s == pytest.approx(first, abs=0.3)
    waits = [h.at_s for h in later.log if h.what.startswith("trip")]
    assert not waits or waits[0] >= told[0].at_s + 4.75


def test_the_log_is_in_the_order_of_time() -> None:
    history = run(AFTER_VOLUME, [{"stall_margin": 0.0, "effect": "trip", "output": 0.0}],
                  [{"at": 10.0, "setpoint": 20.0}, {"at": 60.0, "motor": "restart"},
                   {"at": 70.0, "setpoint": 42.0}])
    assert [h.what for h in history.log] == [
        "setpoint 40 → 20 m3/s",
        "trip: the motor loses its supply, output to 0 % by hand (stall margin below 0 %)",
        "motor started again, trips reset",
        "setpoint 20 → 42 m3/s"]


def test_a_trip_holds_until_the_motor_is_started_again_and_the_loop_takes_over() -> None:
    timeline = [{"at": 10.0, "setpoint": 20.0}, {"at": 60.0, "setpoint": 42.0},
                {"at": 70.0, "motor": "restart"}]
    guard = {"stall_margin": 0.0, "bypass_at_start": 30.0, "effect": "trip", "output": 1.0}
    history = run(AFTER_VOLUME, [guard], timeline, 300.0)
    assert at(history, "electrical_power", 69.0) == 0.0
    assert at(history, "controller_output", 69.0) == 1.0
    assert at(history, "electrical_power", 71.0) > 0.0
    assert at(history, "fan_flow", 299.0) == pytest.approx(42.0, rel=0.01)


def test_a_start_that_passes_through_stall_trips_again_unless_it_is_bypassed() -> None:
    """The wheel stands nearly, the process pushes gas backwards: at the restart it is left of its
    stall line at once."""
    timeline = [{"at": 10.0, "setpoint": 20.0}, {"at": 60.0, "motor": "restart"}]
    history = run(AFTER_VOLUME, [{"stall_margin": 0.0, "effect": "trip", "output": 1.0}], timeline)
    assert at(history, "electrical_power", 62.0) == 0.0


def test_a_run_back_takes_the_output_and_keeps_it() -> None:
    history = run(SPEED, [{"highest_pressure": 2500.0, "after": 1.0, "effect": "run back",
                           "output": 0.3}], [{"at": 10.0, "setpoint": 44.0}])
    assert at(history, "controller_output", 119.0) == 0.3
    assert at(history, "electrical_power", 119.0) > 0.0


def test_lowest_pressure_looks_the_other_way() -> None:
    history = run(SPEED, [{"lowest_pressure": 1500.0, "effect": "alarm"}])
    acted = [h.at_s for h in history.log if h.what.startswith("alarm")]
    node = history.traces["node_pressure"]
    gauge = node[:, 0] - node[:, 1]
    assert acted
    assert acted[0] == pytest.approx(float(history.time[gauge < 1500.0][0]), abs=0.3)


def test_without_a_cause_nothing_acts() -> None:
    history = run(SPEED, [{"speed": 1.09, "effect": "trip"},
                          {"overload": 1.1, "time_constant": 60.0, "effect": "trip"},
                          {"highest_pressure": 20e3, "effect": "trip"}])
    assert [h.what for h in history.log] == ["setpoint 40 → 20 m3/s"]
