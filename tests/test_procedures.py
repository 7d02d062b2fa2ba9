"""Start, stop, restart and run-back as processes that wait for the plant: what is done, in which
order, and what is told."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simfan import api
from simfan.assemble.schedule import schedule
from simfan.history import History
from simfan.kernel import advance, layout
from simfan.plant.held import Held
from simfan.plant.procedure import Procedures, RunBack
from simfan.simulate import prepare, settled, simulate, with_procedures
from tests.plants import DAMPER, GAINS, plain
from tests.segment import fingerprint

SCENARIOS = Path(__file__).parents[1] / "scenarios"
LINE = {"outlet_damper": {**DAMPER, "place": "before volume"}, "controller": GAINS}
DRIVE = {"speed": {"ramp_up": 40.0, "ramp_down": 60.0}, "controller": GAINS}
START = {"speed_within": 30.0, "setpoint": 40.0, "over": 20.0}
ISOLATED = {"discharge": {"length": 20.0, "area": 4.0}, "volume": 600.0,
            "isolation_damper": {"stroke_time": 10.0}}
STANDING = {"starts_at": "standstill", "setpoint": 40.0}
STALL_TRIP = {"stall_margin": 0.0, "after": 2.0, "bypass_at_start": 40.0, "effect": "trip"}
RING = {"at": 60.0, "process_resistance": 8.0, "over": 10.0}


def run(strategy: dict[str, Any], procedures: dict[str, Any], timeline: list[dict[str, Any]],
        duration: float = 120.0, standing: bool = True, **changes: Any) -> History:
    starts = STANDING if standing else {"starts_at": 40.0}
    return simulate(case(strategy, procedures, timeline, starts | {"duration": duration},
                         **changes), "it")


def case(strategy: dict[str, Any], procedures: dict[str, Any], timeline: list[dict[str, Any]],
         starts: dict[str, Any], **changes: Any) -> Any:
    return plain(**{"strategies": {"it": strategy}, "procedures": procedures, "run": starts,
                    "timeline": timeline, "process": {"design": {"flow": 45.0, "pressure": 3100.0}}}
                 | changes)


def log(history: History) -> list[tuple[float, str]]:
    return [(round(h.at_s, 3), h.what) for h in history.log]


def what(history: History) -> list[str]:
    return [h.what for h in history.log]


def began(name: str, at: float = 1.0) -> dict[str, Any]:
    return {"at": at, "procedure": name}


def test_the_whole_log_of_a_start_and_a_stop() -> None:
    """On the line with an isolation damper: shut, up to speed, open, released, ramped."""
    history = run(LINE, {"start": START, "stop": {"over": 5.0, "at_rest": 0.2}},
                  [began("start"), began("stop", 80.0)], 260.0, ductwork=ISOLATED)
    told = what(history)
    up, stands = (next(w for w in told if w.startswith(p)) for p in
                  ("start 5: speed reached", "stop 4: standstill"))
    assert told == [
        "start begins",
        "start 1: controller to manual, output to 0 %",
        "start 1: elements there: outlet damper within 0.5 %",
        "start 2: isolation damper shut",
        "start 3: permissives hold",
        "start 4: trips reset, motor on",
        up,
        "start 6: isolation damper open",
        next(w for w in told if w.startswith("start 7: released to automatic at ")),
        "start 8: setpoint to 40 m3/s over 20 s",
        "start complete",
        "stop begins",
        "stop 1: controller to manual, output to 0 % over 5 s",
        "stop 1: elements there: outlet damper within 0.5 %",
        "stop 2: motor off",
        "stop 3: isolation damper shut",
        stands,
        "stop complete"]
    times = [at for at, _ in log(history)]
    assert times == sorted(times)
    assert times[:2] == [1.0, 1.0] and (80.0, "stop begins") in log(history)


def test_the_log_tells_what_the_plant_did() -> None:
    """Speed, damper and setpoint at the instants that the log names."""
    history = run(LINE, {"start": START}, [began("start")], 180.0, ductwork=ISOLATED)
    start = history.facts.procedures[0]
    at = {w: t for t, w in log(history)}
    on = at["start 4: trips reset, motor on"]
    up = next(t for w, t in at.items() if w.startswith("start 5: speed reached"))
    assert start.speed_after_s == pytest.approx(up - on)
    speed = np.interp([on, up], history.time, history.trace("speed_ratio"))
    assert speed[0] == 0.0
    synchronous = 1000.0 / 990.0
    assert 0.98 * synchronous <= speed[1] < 0.999 * synchronous
    damper = history.trace("shutter_position", "isolation damper")
    assert np.interp(up, history.time, damper) == 0.0
    assert np.interp(up + 10.25, history.time, damper) == pytest.approx(1.0, abs=1e-6)
    assert history.trace("setpoint")[-1] == 40.0
    assert history.trace("true_value")[-1] == pytest.approx(40.0, rel=0.02)


def test_a_drive_brings_its_wheel_up_by_its_own_ramp() -> None:
    """To 98 % of the lowest speed, 30 %, at a ramp of 40 s to full speed: 11.8 s, and its lag."""
    history = run(DRIVE, {"start": START}, [began("start")])
    start = history.facts.procedures[0]
    assert start.outcome == "complete"
    assert start.speed_after_s == pytest.approx(0.98 * 0.3 * 40.0, abs=0.5)
    assert start.locked_s is None


@pytest.mark.parametrize("strategy", [LINE, DRIVE])
def test_the_release_is_without_a_bump(strategy: dict[str, Any]) -> None:
    """The setpoint begins where the reading is, so neither output nor elements jump; from the old
    setpoint they would by some 10 %. What is left is the answer to a reading that still rises."""
    history = run(strategy, {"start": START | {"output": 0.3}}, [began("start")])
    released = history.facts.procedures[0].released_s
    assert released is not None
    k = int(np.searchsorted(history.time, released))
    output = history.trace("controller_output")
    assert abs(output[k + 1] - output[k - 1]) < 0.01
    scan_before = int(np.searchsorted(history.time, released - 0.5))
    reading = history.trace("measured_value")[scan_before]
    assert history.trace("setpoint")[k] == pytest.approx(reading, abs=1e-9)


def test_a_start_that_takes_too_long_fails_and_the_motor_goes_off() -> None:
    history = run(LINE, {"start": START | {"speed_within": 3.0}}, [began("start")])
    start = history.facts.procedures[0]
    assert start.outcome == "failed"
    assert start.why.startswith("speed not reached in 3 s (")
    assert start.why.endswith("; motor off")
    assert history.log[-1].what == f"start failed: {start.why}"
    assert history.trace("electrical_power")[-1] == 0.0


def test_a_purge_that_is_not_proven_fails_the_start() -> None:
    purge = {"output": 0.1, "flow": 60.0, "lasts": 5.0, "within": 20.0}
    history = run(LINE, {"start": START | {"purge": purge}}, [began("start")])
    assert history.facts.procedures[0].why.startswith("purge not proven in 20 s (flow ")


def test_a_purge_counts_anew_after_a_break() -> None:
    """The process shuts for a while in the middle of the purge."""
    purge = {"output": 0.5, "flow": 20.0, "lasts": 30.0}
    steady = run(LINE, {"start": START | {"purge": purge}}, [began("start")], 200.0)
    broken = run(LINE, {"start": START | {"purge": purge}}, [
        began("start"), {"at": 40.0, "process_resistance": 50.0},
        {"at": 50.0, "process_resistance": 1.0}], 200.0)
    proven = [next(t for t, w in log(h) if w.endswith("purge proven")) for h in (steady, broken)]
    assert proven[0] < 55.0
    assert proven[1] >= 50.0 + 30.0


@pytest.mark.parametrize(("backlash", "resolution", "output"), [
    (0.008, 0.003, 0.5), (0.03, 0.0, 0.5), (0.0, 0.02, 0.333), (0.03, 0.02, 0.777)])
def test_an_element_with_play_and_stick_is_there_as_near_as_they_let_it(
        backlash: float, resolution: float, output: float) -> None:
    """It moves once its stem is half the play and one resolution ahead, so at rest it is off by up
    to that: more than 0.5 % in one of these."""
    loose = {"outlet_damper": LINE["outlet_damper"] | {
        "backlash": backlash, "resolution": resolution}, "controller": GAINS}
    purge = {"output": output, "flow": 5.0, "lasts": 5.0, "within": 90.0}
    history = run(loose, {"start": START | {"purge": purge}}, [began("start")], 150.0)
    start = history.facts.procedures[0]
    assert start.outcome == "complete", start.why
    there = 100.0 * (0.005 + backlash / 2.0 + resolution)
    told = [(h.at_s, h.what) for h in history.log if "elements there" in h.what]
    assert told[-1][1] == f"start 5: elements there: outlet damper within {there:.3g} %"
    at = np.searchsorted(history.time, told[-1][0])
    off = abs(history.trace("element_position", "outlet damper")[at] - output)
    assert off <= there / 100.0


def test_an_element_that_is_not_there_is_told_with_what_is_allowed() -> None:
    stuck = {"at": 0.5, "fault": {"of": "outlet damper", "state": "stuck"}}
    purge = {"output": 0.5, "flow": 5.0, "lasts": 5.0, "within": 20.0}
    history = run(LINE, {"start": START | {"purge": purge}}, [stuck, began("start")], 80.0)
    assert history.facts.procedures[0].why == (
        "elements not there (outlet damper off by 50 %, 0.5 % allowed); motor off")


def test_the_ramp_of_a_stop_is_part_of_the_time_that_its_step_may_take() -> None:
    """120 s beyond a ramp of 30 s, as its step says."""
    stuck = {"at": 2.0, "fault": {"of": "outlet damper", "state": "stuck"}}
    history = run(LINE, {"stop": {"over": 30.0}}, [stuck, began("stop", 5.0)], 180.0,
                  standing=False)
    at = next(h.at_s for h in history.log if h.what.startswith("stop 1: warning"))
    assert at == pytest.approx(5.0 + 150.0, abs=2.0 * 0.25)


def test_more_starts_than_the_maker_permits_are_refused() -> None:
    """Two from cold within the hour: the third has to wait until the first is an hour ago."""
    starts = [began(name, at) for name, at in (("start", 1.0), ("stop", 60.0), ("start", 80.0),
                                               ("stop", 140.0), ("start", 160.0))]
    motor = plain().motor.model_dump(exclude_unset=True) | {
        "permitted_starts": {"cold": 2, "hot": 1}}
    history = run(LINE, {"start": START, "stop": {}}, starts, 180.0, motor=motor)
    third = history.facts.procedures[-1]
    first = next(t for t, w in log(history) if w == "start 3: trips reset, motor on")
    assert third.outcome == "failed"
    assert third.why == (f"refused: 2 starts in 3600 s permitted from cold, the next at "
                         f"{first + 3600.0:g} s")
    assert history.trace("electrical_power")[-1] == 0.0


def test_a_hot_motor_has_fewer_starts_and_less_time() -> None:
    motor = plain().motor.model_dump(exclude_unset=True) | {
        "permitted_starts": {"cold": 2, "hot": 1}, "locked_rotor_time": 10.0,
        "locked_rotor_time_cold": 15.0}
    history = run(LINE, {"start": START, "stop": {}}, [
        began("stop"), began("start", 30.0), began("stop", 80.0), began("start", 100.0)],
        160.0, standing=False, motor=motor)
    _, hot, _, refused = history.facts.procedures
    assert hot.hot is True and hot.allowed_s == 10.0
    assert refused.why.startswith("refused: 1 start in 3600 s permitted from hot")
    cold = run(LINE, {"start": START}, [began("start")], 60.0, motor=motor).facts.procedures[0]
    assert cold.hot is False and cold.allowed_s == 15.0
    assert cold.margin_percent == pytest.approx(100.0 * (1.0 - (cold.locked_s or 0.0) / 15.0))


def test_a_start_longer_than_its_rotor_bears_is_warned_of() -> None:
    motor = plain().motor.model_dump(exclude_unset=True) | {"locked_rotor_time": 2.0}
    history = run(LINE, {"start": START}, [began("start")], 60.0, motor=motor)
    assert any("warning: more than the 2 s its maker allows cold" in w for w in what(history))
    margin = history.facts.procedures[0].margin_percent
    assert margin is not None and margin < 0.0


def test_a_start_by_an_event_is_counted_and_told() -> None:
    motor = plain().motor.model_dump(exclude_unset=True) | {
        "permitted_starts": {"cold": 2, "hot": 1}}
    history = run(LINE, {"start": START}, [
        {"at": 5.0, "motor": "trip"}, {"at": 10.0, "motor": "restart"},
        {"at": 20.0, "motor": "trip"}, {"at": 25.0, "motor": "restart"}],
        40.0, standing=False, motor=motor)
    assert [w for w in what(history) if w.startswith("warning")] == [
        "warning: this start is not permitted: 1 start in 3600 s permitted from hot, the next at "
        "3610 s"]


def test_a_wheel_that_turns_backwards_is_not_started() -> None:
    """Pressure behind the process drives air and wheel backwards; the damper stands open."""
    backed = {"fixed_pressure": 2500.0, "design": {"flow": 45.0, "pressure": 4000.0}}
    blown = {"start": START | {"output": 1.0, "permissives_within": 20.0}}
    history = run(LINE, blown, [began("start", 60.0)], 120.0, process=backed)
    assert "wheel turns backwards at" in history.facts.procedures[0].why
    assert history.trace("electrical_power")[-1] == 0.0


def test_a_trip_is_followed_by_a_restart_and_a_second_one_by_none() -> None:
    history = run(LINE, {"start": START, "restart": {"wait": 10.0}},
                  [RING, {"at": 100.0, "process_resistance": 1.0},
                   {"at": 190.0, "process_resistance": 8.0}],
                  260.0, standing=False, protection=[STALL_TRIP | {"bypass_at_start": 70.0}])
    told = what(history)
    trips = [w for w in told if w.startswith("trip: the motor loses its supply")]
    assert len(trips) == 2
    assert told.count("restart begins (after a trip)") == 1
    assert told.count("restart complete") == 1
    assert told[-1] == "tripped again: no further restart"
    assert history.trace("electrical_power")[-1] == 0.0


def test_a_trip_breaks_a_start_off_and_nobody_restarts_a_stopped_fan() -> None:
    """A damper that is shut stalls the fan while it runs up, without a bypass: it trips."""
    eager = {"stall_margin": 0.0, "after": 1.0, "effect": "trip"}
    history = run(LINE, {"start": START}, [began("start")], 60.0, protection=[eager])
    assert history.facts.procedures[0].why == "a trip"
    assert history.trace("electrical_power")[-1] == 0.0
    stopped = run(LINE, {"start": START, "stop": {}, "restart": {"wait": 1.0}},
                  [began("stop")], 60.0, standing=False, protection=[eager])
    assert "restart begins (after a trip)" not in what(stopped)


def test_a_later_procedure_takes_over() -> None:
    history = run(LINE, {"start": START, "stop": {}}, [began("start"), began("stop", 5.0)], 60.0)
    first, second = history.facts.procedures
    assert first.outcome == "broken off"
    assert first.why.startswith("stop takes over at step 4, wait for 98 % of the speed it is run "
                                "up to (synchronous on the line, its reference on a drive): ")
    assert first.why.endswith(" % of it")
    assert second.name == "stop"
    assert history.trace("electrical_power")[-1] == 0.0


def test_a_lost_supply_breaks_a_start_off() -> None:
    history = run(LINE, {"start": START}, [began("start"), {"at": 6.0, "motor": "trip"}], 60.0)
    assert history.facts.procedures[0].why.startswith("the motor lost its supply")


def test_a_run_back_takes_the_setpoint_once_and_again_when_it_was_gone() -> None:
    back = {"run_back": [{"load_above": 0.53, "after": 5.0, "setpoint": 30.0, "over": 5.0}]}
    history = run(DRIVE, back, [{"at": 20.0, "setpoint": 44.0}, {"at": 90.0, "setpoint": 44.0}],
                  160.0, standing=False)
    backs = [t for t, w in log(history) if w.startswith("run-back 1: setpoint to 30 m3/s")]
    assert len(backs) == 2
    load, time = history.trace("motor_load"), history.time
    for at in backs:
        before = (time >= at - 5.0) & (time < at)
        assert (load[before] > 0.53).all()
    assert history.trace("setpoint")[-1] == 30.0


@pytest.mark.parametrize(("events", "setpoint", "told"), [
    ([], 40.0, "setpoint left as it is, not above 42 m3/s already"),
    ([{"at": 2.0, "setpoint": 30.0, "over": 40.0}], 30.0,
     "setpoint left as it is, not above 42 m3/s already"),
    ([{"at": 2.0, "setpoint": 44.0, "over": 40.0}], 42.0, "setpoint kept from going above 42 m3/s"),
    ([{"at": 1.0, "setpoint": 44.0}, {"at": 8.0, "setpoint": 30.0, "over": 20.0}], 30.0,
     "setpoint left as it is, on its way to 42 m3/s already"),
    ([{"at": 1.0, "setpoint": 44.0}, {"at": 8.0, "setpoint": 41.0, "over": 60.0}], 41.0,
     "setpoint kept from going above 42 m3/s"),
    ([{"at": 1.0, "setpoint": 44.0}], 42.0, "setpoint to 42 m3/s over 15 s"),
])
def test_a_run_back_never_raises_the_setpoint(events: list[dict[str, Any]], setpoint: float,
                                              told: str) -> None:
    """Neither one that is lower, nor one that is on its way further down."""
    back = {"run_back": [{"load_above": 0.05, "after": 10.0, "setpoint": 42.0, "over": 15.0}]}
    history, free = (run(DRIVE, procedures, events, 80.0, standing=False)
                     for procedures in (back, {"stop": {}}))
    wanted = history.trace("setpoint")
    assert (wanted <= free.trace("setpoint")).all()
    assert wanted[-1] == setpoint
    assert what(history)[-1] == f"run-back 1: {told} (motor load above 5 % for 10 s)"
    assert all(c.at_s <= c.until_s for c in history.facts.changes)
    if "kept" in told:
        last = history.facts.changes[-1]
        arrived = history.time[np.flatnonzero(wanted != setpoint)[-1]]
        assert (last.at_s, last.end) == (10.0, setpoint)
        assert last.at_s + last.over_s == pytest.approx(arrived, abs=0.25)


@pytest.mark.parametrize(("wanted", "end"), [("-20 Pa", -20.0), ("-90 Pa", -50.0)])
def test_a_run_back_of_a_draught_is_to_less_of_it(wanted: str, end: float) -> None:
    """More flow takes the pressure of a furnace down, so back is up there."""
    furnace = api.load(SCENARIOS / "furnace-draft.toml")
    back = RunBack(load_above=0.05, after=10.0, setpoint=Held(float(wanted.split()[0]), "pressure"))
    history = simulate(furnace.model_copy(update={
        "timeline": (), "procedures": Procedures(run_back=(back,)),
        "run": furnace.run.model_copy(update={"duration": 20.0})}), "inlet-vanes")
    assert history.trace("setpoint")[-1] == end
    left = "setpoint left as it is, not below -90 Pa already"
    assert (left in what(history)[0]) == (end == -50.0)


def test_a_procedure_that_outlasts_the_run_is_told() -> None:
    history = run(LINE, {"stop": {}}, [began("stop")], 30.0, standing=False)
    assert history.log[-1].what == "stop 3: under way at the end of the run"
    stop = history.facts.procedures[0]
    assert stop.ended_s is None
    speed = 100.0 * history.trace("speed_ratio")[-1]
    assert stop.why == ("at step 3, wait for standstill, below 2 % of rated speed: "
                        f"{speed:.3g} % of rated speed")


def test_procedures_that_nobody_begins_change_no_bit() -> None:
    """Played in step with the plant, or ahead of it: the same."""
    move = [{"at": 5.0, "setpoint": 36.0, "over": 7.0},
            {"at": 8.0, "process_resistance": 1.3, "over": 20.0}]
    with_them = run(LINE, {"stop": {}}, move, 40.0, standing=False)
    without = simulate(plain(
        strategies={"it": LINE}, timeline=move, run={"duration": 40.0, "starts_at": 40.0},
        process={"design": {"flow": 45.0, "pressure": 3100.0}}), "it")
    for name, values in without.traces.items():
        assert np.array_equal(values, with_them.traces[name], equal_nan=True), name
    assert with_them.log == without.log


def test_what_was_played_gives_the_same_bits_without_python_between() -> None:
    """The dials of a run with procedures, replayed in one segment and cut at odd ticks."""
    it = case(LINE, {"start": START, "stop": {}}, [began("start"), began("stop", 50.0)],
              STANDING | {"duration": 90.0}, ductwork=ISOLATED)
    assembled = prepare(it, "it")[0]
    _, _, _, _, state = settled(it, assembled)
    begin, traces = layout.copy(state), layout.traces(assembled.plant)
    played, _, code = with_procedures(it, assembled, state, traces)
    assert code == layout.DONE
    plan, expected = schedule(assembled, it, played.dials), fingerprint(traces, state)
    last = assembled.plant.last_tick
    for cuts in ([last], [7, 8, 1000, last]):
        again, replayed = layout.copy(begin), layout.traces(assembled.plant)
        for until in cuts:
            assert advance.advance(assembled.plant, plan, again, replayed, until) == layout.DONE
        assert fingerprint(replayed, again) == expected


EVENTS = st.sampled_from([
    {"procedure": "start"}, {"procedure": "stop"}, {"motor": "trip"}, {"motor": "restart"},
    {"manual_output": 0.2}, {"setpoint": 30.0, "over": 3.0}, {"instrument_air": "lost"},
    {"process_resistance": 9.0}, {"process_resistance": 0.8}, {"isolation": "shut"},
    {"fault": {"of": "transmitter", "state": "frozen"}},
    {"fault": {"of": "outlet damper", "state": "stuck"}},
    {"fault": {"of": "outlet damper", "state": "well"}},
    {"fault": {"of": "isolation damper", "state": "stuck"}},
])
EVERYTHING = {"start": START, "stop": {"over": 2.0}, "restart": {"wait": 3.0, "attempts": 3},
              "run_back": [{"stall_margin_below": 0.1, "setpoint": 25.0}]}


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(EVENTS, min_size=1, max_size=7), st.booleans(), st.sampled_from([LINE, DRIVE]))
def test_any_order_of_faults_trips_and_procedures_ends_in_numbers_and_a_whole_log(
        events: list[dict[str, Any]], standing: bool, strategy: dict[str, Any]) -> None:
    timeline = [{"at": 3.0 + 6.0 * k} | event for k, event in enumerate(events)]
    history = run(strategy, EVERYTHING, timeline, 60.0, standing, ductwork=ISOLATED,
                  protection=[{**STALL_TRIP, "bypass_at_start": 5.0}])
    assert history.audit.stopped is None
    for values in history.traces.values():
        assert values.shape[0] == history.time.size
    assert np.isfinite(history.traces["speed_ratio"]).all()
    times = [h.at_s for h in history.log]
    assert times == sorted(times)
    for name in ("start", "stop", "restart"):
        begun = [c for c in history.facts.procedures if c.name == name]
        told = what(history)
        assert len(begun) == sum(w.startswith(f"{name} begins") for w in told)
        ends = sum(w.startswith((f"{name} complete", f"{name} failed", f"{name} broken off"))
                   or (w.startswith(name) and w.endswith("under way at the end of the run"))
                   for w in told)
        assert ends == len(begun)
