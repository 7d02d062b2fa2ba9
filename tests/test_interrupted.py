"""What decides although no criterion names it: trips, starts that fail, rotors heated too much."""

from dataclasses import replace
from typing import Any

import pytest

from simfan.choice import choose
from simfan.compare import StrategyResult, compare, judged
from simfan.history import Carried, History
from simfan.plant.case import Criteria
from tests.plants import plain
from tests.test_procedures import LINE, RING, STALL_TRIP, START, began, run, what

NONE = Criteria(stall_margin=None, surge_cycles=None, motor_load=None)
"""Nothing but the safe speed is asked for."""
LOW = {"lowest_pressure": 500.0, "effect": "trip"}


def verdict(history: History) -> StrategyResult:
    return judged(history, NONE)


def missed(history: History) -> list[str]:
    return [m.criterion for m in verdict(history).misses]


def tripped(**changes: Any) -> History:
    return run(LINE, {"stop": {}}, [RING], 120.0, standing=False, protection=[STALL_TRIP],
               **changes)


def test_a_trip_is_a_miss_though_no_criterion_names_what_tripped() -> None:
    found = verdict(tripped())
    (miss,) = found.misses
    trip = next(h for h in found.history.log if h.what.startswith("trip"))
    assert (miss.criterion, miss.got, miss.limit) == ("trips", 1.0, 0.0)
    assert found.verdict == f"tripped at {trip.at_s:.3g} s (stall margin below 0 %)"
    assert not found.meets_criteria


def test_a_tripped_fan_is_not_chosen_for_the_energy_it_saves() -> None:
    """Off, it takes less than the one that runs on."""
    free = run(LINE, {"stop": {}}, [RING], 120.0, standing=False)
    named = [replace(h, facts=replace(h.facts, strategy=name))
             for name, h in (("runs", free), ("trips", tripped()))]
    made = compare(named, NONE)
    energies = [r.measures.energy.electrical_kwh for r in made.strategies if r.measures]
    assert energies[1] is not None and energies[0] is not None and energies[1] < energies[0]
    choice = choose(made, {})
    assert choice.name == "runs"
    assert choice.out["trips"].startswith("tripped at ")


def test_the_trip_comes_first_among_many_misses() -> None:
    """A sentence has room for a few; this one must not be cut off."""
    wanted = Criteria(stall_margin=0.3, motor_load=0.1, time_outside_band=0.0, settling_time=0.1)
    assert judged(tripped(), wanted).verdict.startswith("tripped at ")


def test_rows_that_trip_a_motor_that_is_off_or_going_off_are_no_miss() -> None:
    """The pressure falls with the fan: in a stop, and after the motor lost its supply."""
    stopped = run(LINE, {"stop": {"over": 2.0}}, [began("stop", 5.0)], 150.0, standing=False,
                  protection=[LOW])
    lost = run(LINE, {"stop": {}}, [{"at": 5.0, "motor": "trip"}], 150.0, standing=False,
               protection=[LOW])
    for history in (stopped, lost):
        assert history.facts.protection[0].acted_s
        assert missed(history) == []


def test_two_rows_that_trip_at_one_scan_are_one_trip() -> None:
    history = run(LINE, {"stop": {}}, [RING], 120.0, standing=False,
                  protection=[STALL_TRIP, STALL_TRIP])
    assert [len(row.acted_s) for row in history.facts.protection] == [1, 1]
    assert verdict(history).misses[0].got == 1.0


@pytest.mark.parametrize("changes, duration, why", [
    ({"speed_within": 3.0}, 60.0, "start at 1 s failed: speed not reached in 3 s ("),
    ({}, 9.0, "start at 1 s not released at the end of the run"),
])
def test_a_start_that_does_not_come_off_is_a_miss(changes: dict[str, Any], duration: float,
                                                  why: str) -> None:
    history = run(LINE, {"start": START | changes}, [began("start")], duration)
    assert missed(history) == ["procedures"]
    assert verdict(history).verdict.startswith(why)


def test_a_start_that_a_stop_breaks_off_before_its_release_has_not_come_off() -> None:
    """It is told where it stood; a stop under way is no miss."""
    history = run(LINE, {"start": START, "stop": {}}, [began("start"), began("stop", 5.0)], 40.0)
    assert [c.outcome for c in history.facts.procedures] == ["broken off", "under way"]
    assert missed(history) == ["procedures"]
    assert verdict(history).verdict.startswith(
        "start at 1 s broken off before its release: stop takes over at step 4, wait for 98 % of")


def test_a_start_that_a_stop_breaks_off_once_it_is_released_is_no_miss() -> None:
    """Its loop was in automatic, on its ramp."""
    history = run(LINE, {"start": START, "stop": {}}, [began("start"), began("stop", 15.0)], 40.0)
    start = history.facts.procedures[0]
    assert start.outcome == "broken off" and start.released_s is not None
    assert missed(history) == []


def test_a_rotor_heated_more_than_its_maker_allows_is_a_miss() -> None:
    motor = plain().motor.model_dump(exclude_unset=True)
    hot, cool = (run(LINE, {"start": START}, [began("start")], 60.0,
                     motor=motor | {"locked_rotor_time": time}) for time in (2.0, 20.0))
    (miss,) = verdict(hot).misses
    assert (miss.criterion, miss.limit) == ("locked_rotor_time", 2.0)
    assert miss.got == hot.facts.procedures[0].locked_s
    assert missed(cool) == []


def test_a_motor_that_nobody_starts_meets_no_criteria() -> None:
    found = verdict(run(LINE, {"start": START}, [], 20.0))
    assert found.verdict == "the motor was never on, so nothing was judged"
    assert not found.meets_criteria


def test_a_start_of_a_motor_that_runs_is_refused_and_changes_nothing() -> None:
    history = run(LINE, {"start": START}, [began("start", 5.0)], 30.0, standing=False)
    without = run(LINE, {"start": START}, [], 30.0, standing=False)
    assert what(history) == ["start refused: the motor runs already"]
    assert history.facts.procedures == ()
    assert (history.trace("fan_flow") == without.trace("fan_flow")).all()


def test_a_stop_goes_on_past_a_damper_that_is_stuck() -> None:
    """The motor comes off all the same, and it is told what was not there."""
    stuck = {"at": 2.0, "fault": {"of": "outlet damper", "state": "stuck"}}
    history = run(LINE, {"stop": {"at_rest": 0.3}}, [stuck, began("stop", 5.0)], 320.0,
                  standing=False)
    stop: Carried = history.facts.procedures[0]
    assert history.trace("electrical_power")[-1] == 0.0
    assert stop.outcome == "complete" and stop.standstill_after_s is not None
    assert stop.why.startswith("elements not there (outlet damper off by ")
    assert f"stop 1: warning: {stop.why}; the stop goes on" in what(history)
