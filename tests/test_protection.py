"""The cause-and-effect table: what acts, when, and what it does to the plant."""

from dataclasses import replace

import numpy as np
import pytest

from simfan.history import Guarded, History
from simfan.kernel import advance, layout
from simfan.kernel.layout import ROOM
from simfan.metrics import surge
from simfan.metrics.judge import judge
from simfan.plant.case import Criteria
from simfan.protected import BESIDES, happened
from simfan.simulate import prepare, settled, simulate
from tests.plants import DAMPER, plain
from tests.test_faults import BESIDE_FAN, SPEED, at

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
        "trip reset (stall margin below 0 %)",
        "trip: the motor loses its supply, output to 0 % by hand (stall margin below 0 %)",
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


@pytest.mark.parametrize(("output", "up"), [(0.3, False), (0.9, True)])
def test_a_run_back_that_takes_the_output_up_is_told(output: float, up: bool) -> None:
    """A wheel that is too fast gets faster by it."""
    history = run(SPEED, [{"speed": 0.87, "effect": "run back", "output": output}],
                  [{"at": 10.0, "setpoint": 44.0}])
    _, act, *warning = history.log
    assert act.what == (f"run-back, output to {100.0 * output:g} % by hand "
                        "(speed above 87 % of rated)")
    before = 100.0 * at(history, "controller_output", act.at_s - history.facts.record_s)
    assert [h.what for h in warning] == up * [
        f"warning: this run-back takes the output up from {before:.3g} %, to more flow"]
    speed = history.trace("speed_ratio")
    assert bool(speed[-1] > 0.88) is up


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


# Surge in a window ----------------------------------------------------------------------------

SURGING = [{"at": 10.0, "setpoint": 20.0}]
"""A damper behind the volume is closed into surge."""


def cycles_by(history: History, until: float) -> int:
    """Surge cycles that the judge counts up to a time."""
    kept = history.time <= until
    part = replace(history, time=history.time[kept],
                   traces={name: values[kept] for name, values in history.traces.items()})
    swing = Criteria().surge_swing * part.facts.fan_map.stall_flow
    return surge.find(part, 0, swing).cycles


@pytest.mark.parametrize("count", [1, 3, 10])
def test_surge_cycles_act_when_the_judge_has_counted_as_many(count: int) -> None:
    """The row looks at every scan, the judge at every sample: they agree to a scan or two."""
    history = run(AFTER_VOLUME, [{"surge_cycles": count, "window": 300.0, "effect": "alarm"}],
                  SURGING)
    assert [h.what for h in history.log] == [
        "setpoint 40 → 20 m3/s",
        f"alarm ({count} surge cycle{'' if count == 1 else 's'} within 300 s)"]
    acted = history.log[1].at_s
    assert cycles_by(history, acted - 0.75) < count <= cycles_by(history, acted + 0.25)


def test_cycles_that_the_window_has_left_behind_do_not_count() -> None:
    """A cycle takes longer than half a second, so no two end within it."""
    history = run(AFTER_VOLUME, [{"surge_cycles": 2, "window": 0.5, "effect": "alarm"}], SURGING)
    assert cycles_by(history, 120.0) > 10
    assert [h.what for h in history.log] == ["setpoint 40 → 20 m3/s"]


def test_a_surge_trip_stops_the_surge_of_the_strategy_and_the_rest_is_told_apart() -> None:
    """What surges on while the wheel coasts down is none of the strategy's."""
    row = {"surge_cycles": 3, "window": 60.0, "effect": "trip", "output": 1.0}
    history = run(AFTER_VOLUME, [row], SURGING)
    assert [h.what for h in history.log] == [
        "setpoint 40 → 20 m3/s",
        "trip: the motor loses its supply, output to 100 % by hand (3 surge cycles within 60 s)"]
    found = judge(history, Criteria()).excursions
    assert 3 <= found.surge_cycles <= 4
    free = judge(run(AFTER_VOLUME, [], SURGING), Criteria()).excursions
    assert free.surge_cycles > 20 and free.apart == ()


def test_a_slow_move_down_and_back_is_no_surge() -> None:
    history = run(SPEED, [{"surge_cycles": 1, "window": 600.0, "effect": "trip"}],
                  [{"at": 10.0, "setpoint": 25.0}, {"at": 150.0, "setpoint": 44.0}], 300.0)
    assert [h.what for h in history.log] == ["setpoint 40 → 25 m3/s", "setpoint 25 → 44 m3/s"]


# Reset ----------------------------------------------------------------------------------------

UP_AND_DOWN = [{"at": 10.0, "setpoint": 44.0}, {"at": 60.0, "setpoint": 36.0},
               {"at": 120.0, "setpoint": 44.0}]


def acts(history: History) -> list[str]:
    """Lines of the log that are the protection's."""
    return [h.what for h in history.log if "speed above" in h.what]


def test_a_row_resets_by_itself_when_its_cause_has_been_gone_for_its_time() -> None:
    row = {"speed": 0.9, "effect": "alarm", "reset": "by itself", "reset_after": 20.0}
    history = run(SPEED, [row], UP_AND_DOWN, 200.0)
    line = "speed above 90 % of rated"
    assert acts(history) == [f"alarm ({line})", f"alarm reset ({line})", f"alarm ({line})"]
    speed = history.trace("speed_ratio")
    fell = history.time[(history.time > 60.0) & (speed < 0.9)][0]
    reset = next(h.at_s for h in history.log if "reset" in h.what)
    assert reset - fell == pytest.approx(20.0, abs=0.5)


def test_by_hand_nothing_is_reset_until_the_motor_is_started_again() -> None:
    history = run(SPEED, [{"speed": 0.9, "effect": "alarm"}], UP_AND_DOWN, 200.0)
    assert acts(history) == ["alarm (speed above 90 % of rated)"]
    again = run(SPEED, [{"speed": 0.9, "effect": "alarm"}],
                [*UP_AND_DOWN[:2], {"at": 100.0, "motor": "restart"}, UP_AND_DOWN[2]], 200.0)
    assert acts(again) == ["alarm (speed above 90 % of rated)",
                           "alarm reset (speed above 90 % of rated)",
                           "alarm (speed above 90 % of rated)"]


def test_a_run_back_that_resets_by_itself_gives_the_loop_back_without_a_bump() -> None:
    row = {"highest_pressure": 2500.0, "effect": "run back", "output": 0.3, "reset": "by itself",
           "reset_after": 10.0}
    history = run(SPEED, [row], [{"at": 10.0, "setpoint": 44.0}, {"at": 20.0, "setpoint": 30.0}],
                  200.0)
    assert [h.what for h in history.log if "run-back" in h.what] == [
        "run-back, output to 30 % by hand (pressure of the volume above 2500 Pa)",
        "run-back reset (pressure of the volume above 2500 Pa)"]
    reset = next(h.at_s for h in history.log if "reset" in h.what)
    assert at(history, "controller_output", reset + 0.25) == pytest.approx(0.3, abs=0.02)
    assert at(history, "fan_flow", 199.0) == pytest.approx(30.0, rel=0.01)


def test_a_trip_that_resets_by_itself_starts_no_motor() -> None:
    row = {"speed": 0.9, "effect": "trip", "reset": "by itself"}
    history = run(SPEED, [row], [{"at": 10.0, "setpoint": 44.0}])
    line = "speed above 90 % of rated"
    assert acts(history) == [f"trip: the motor loses its supply ({line})", f"trip reset ({line})"]
    assert at(history, "electrical_power", 119.0) == 0.0


def test_what_the_list_has_no_room_for_is_counted_and_told() -> None:
    row = {"stall_margin": 0.0, "effect": "alarm", "reset": "by itself"}
    history = run(AFTER_VOLUME, [row], SURGING, 600.0)
    mine = [h.what for h in history.log if "stall margin" in h.what or "room" in h.what]
    assert len(mine) == ROOM + 1
    more = int(mine[-1].split()[0])
    assert mine[-1] == f"{more} {BESIDES}"
    flow, stall = history.trace("fan_flow"), history.trace("stall_flow")
    left = (flow < stall)[::round(0.25 / history.facts.record_s)]
    assert ROOM + more == pytest.approx(np.sum(left[1:] != left[:-1]), rel=0.03)


def test_the_list_of_a_run_that_is_cut_into_segments_is_that_of_the_whole() -> None:
    row = {"surge_cycles": 2, "window": 20.0, "effect": "alarm", "reset": "by itself"}
    whole = run(AFTER_VOLUME, [row], SURGING)
    case = plain(strategies={"it": AFTER_VOLUME}, protection=[row], timeline=SURGING,
                 run={"duration": 120.0, "starts_at": 40.0})
    assembled, _ = prepare(case, "it")
    _, plan, _, _, state = settled(case, assembled)
    traces = layout.traces(assembled.plant)
    last = assembled.plant.last_tick
    for until in (777, last // 2, last - 100, last):
        advance.advance(assembled.plant, plan, state, traces, until)
    assert happened(case, assembled.plant.step, state) == [
        h for h in whole.log if "surge" in h.what]


def test_the_table_of_a_run_tells_what_acted_and_when() -> None:
    rows = [{"speed": 0.9, "effect": "alarm", "reset": "by itself", "reset_after": 20.0},
            {"highest_pressure": 20e3, "after": 2.0, "bypass_at_start": 5.0, "effect": "trip",
             "output": 0.0}]
    history = run(SPEED, rows, UP_AND_DOWN, 200.0)
    first, second = history.facts.protection
    acted = [h.at_s for h in history.log if h.what.startswith("alarm (")]
    assert first == Guarded("speed above 90 % of rated", "alarm", None, "",
                            "by itself after 20 s", 0.0, tuple(acted), first.reset_s)
    assert len(first.reset_s) == 1
    assert second == Guarded("pressure of the volume above 20000 Pa", "trip", 0.0, "for 2 s",
                             "by hand, at the next start", 5.0)


def test_a_stalled_fan_whose_motor_is_off_gives_no_alarm_of_stall() -> None:
    """It coasts down against the process, left of its stall line."""
    history = run(BESIDE_FAN, [{"stall_margin": 0.0, "effect": "alarm"}],
                  [{"at": 20.0, "motor": "trip"}])
    assert [h.what for h in history.log] == ["motor loses its supply"]
    found = judge(history, Criteria()).excursions
    assert found.time_left_of_peak_s == 0.0 and found.reverse_flow_s == 0.0
    (apart,) = found.apart
    assert apart.when == "while the motor was off"
    assert apart.lasts_s == pytest.approx(100.0, abs=0.1)
    assert apart.time_left_of_peak_s > 30.0 and apart.reverse_flow_s > 30.0
    assert {e.kind for e in apart.events} >= {"left of the peak", "reverse flow"}
