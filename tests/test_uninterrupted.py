"""Distances to a trip, a start that fails, a rotor too hot: below zero where `compare` tells a
miss, and with a slope that leads there."""

from typing import Any

import numpy as np
import pytest

from simfan.compare import judged
from simfan.history import History
from simfan.metrics.uninterrupted import asked, distances
from simfan.plant.case import Case
from simfan.simulate import simulate
from tests.plants import plain
from tests.test_interrupted import LOW, NONE
from tests.test_procedures import (
    DRIVE,
    LINE,
    RING,
    STALL_TRIP,
    STANDING,
    START,
    began,
    case,
)

RUNS = {"starts_at": 40.0, "duration": 120.0}
STANDS = STANDING | {"duration": 60.0}
HIGHER = [{"at": 10.0, "process_resistance": 1.3, "over": 20.0}]
MORE = [{"at": 5.0, "setpoint": 46.0, "over": 5.0}]
SWING = [{"at": 10.0, "process_resistance": 8.0, "over": 2.0},
         {"at": 14.0, "process_resistance": 1.0, "over": 2.0}]
MOTOR = plain().motor.model_dump(exclude_unset=True)


def row(**changes: Any) -> dict[str, Any]:
    return {"effect": "trip"} | changes


def tripping(timeline: list[dict[str, Any]], *rows: dict[str, Any],
             strategy: dict[str, Any] = LINE, **changes: Any) -> Case:
    return case(strategy, {"stop": {}}, timeline, RUNS, protection=list(rows), **changes)


def starting(**changes: Any) -> Case:
    more = {k: changes.pop(k) for k in tuple(changes) if k in ("speed_within", "output", "purge")}
    return case(changes.pop("strategy", LINE), {"start": START | more}, [began("start")],
                STANDS | {"duration": changes.pop("duration", 60.0)}, **changes)


CASES = {
    "stall": tripping([RING], STALL_TRIP),
    "no stall": tripping(HIGHER, STALL_TRIP),
    "left of the line for less than its time": tripping(SWING, row(stall_margin=0.0, after=60.0)),
    "left of the line for its time": tripping(SWING, row(stall_margin=0.0, after=1.0)),
    "surge": tripping([RING], row(surge_cycles=2, window=60.0), strategy=DRIVE),
    "fewer cycles": tripping(SWING, row(surge_cycles=50, window=60.0), strategy=DRIVE),
    "no surge": tripping(HIGHER, row(surge_cycles=1, window=60.0)),
    "high": tripping(HIGHER, row(highest_pressure=3000.0, after=3.0)),
    "not so high": tripping(HIGHER, row(highest_pressure=5000.0)),
    "low": tripping([{"at": 10.0, "process_resistance": 0.2}], row(lowest_pressure=1500.0)),
    "heat": tripping(MORE, row(overload=0.4, time_constant=60.0)),
    "no heat": tripping(MORE, row(overload=0.9, time_constant=60.0)),
    "fast": tripping(MORE, row(speed=0.8), strategy=DRIVE),
    "not so fast": tripping(MORE, row(speed=1.1), strategy=DRIVE),
    "two rows, one trips": tripping([RING], row(speed=1.2), STALL_TRIP),
    "an alarm beside a trip": tripping([RING], STALL_TRIP | {"effect": "alarm"}, row(speed=1.2)),
    "off in a stop": case(LINE, {"stop": {"over": 2.0}}, [began("stop", 5.0)], RUNS,
                          protection=[LOW]),
    "off by an event": tripping([{"at": 5.0, "motor": "trip"}], LOW),
    "trips in a start": starting(protection=[STALL_TRIP | {"bypass_at_start": 0.0}],
                                 output=0.2, duration=90.0),
    "bypassed in a start": starting(protection=[STALL_TRIP], duration=90.0),
    "starts": starting(duration=90.0),
    "is not up in time": starting(speed_within=3.0),
    "is not released": starting(duration=9.0),
    "purge": starting(purge={"output": 0.1, "flow": 60.0, "lasts": 5.0, "within": 20.0}),
    "hot": starting(motor=MOTOR | {"locked_rotor_time": 2.0}),
    "cool": starting(motor=MOTOR | {"locked_rotor_time": 20.0}),
    "a drive": starting(strategy=DRIVE, duration=90.0, motor=MOTOR | {"locked_rotor_time": 2.0}),
    "is broken off": case(LINE, {"start": START, "stop": {}},
                          [began("start"), began("stop", 5.0)], STANDS),
    "is broken off once released": case(LINE, {"start": START, "stop": {}},
                                        [began("start"), began("stop", 15.0)], STANDS),
    "nobody starts": case(LINE, {"start": START}, [], STANDS),
}


@pytest.fixture(scope="module")
def histories() -> dict[str, History]:
    return {name: simulate(one, "it") for name, one in CASES.items()}


def found(one: Case, history: History) -> dict[str, float]:
    return dict(zip([r.name for r in asked(one, "it")], distances(history, one, "it"), strict=True))


@pytest.mark.parametrize("name", CASES)
def test_below_zero_exactly_where_compare_tells_a_miss(name: str,
                                                       histories: dict[str, History]) -> None:
    got = found(CASES[name], histories[name])
    missed = {{"operation": "procedures"}.get(m.criterion, m.criterion)
              for m in judged(histories[name], NONE).misses}
    assert {one for one, room in got.items() if room < 0.0} == missed
    assert np.isfinite(list(got.values())).all()


def test_the_cases_above_have_all_kinds_of_both(histories: dict[str, History]) -> None:
    """So that the test before can fail."""
    rooms = [found(CASES[name], history) for name, history in histories.items()]
    for name in ("trips", "procedures", "locked_rotor_time"):
        values = [r[name] for r in rooms if name in r]
        assert min(values) < 0.0 < max(values)


@pytest.mark.parametrize(("name", "limits"), [
    ("highest_pressure", np.linspace(2900.0, 4500.0, 5)), ("speed", np.linspace(0.8, 1.2, 5)),
    ("overload", np.linspace(0.3, 1.5, 5)), ("stall_margin", np.linspace(0.6, -0.5, 5))])
@pytest.mark.parametrize("after", [0.0, 10.0])
def test_the_room_grows_with_the_limit(name: str, limits: np.ndarray, after: float) -> None:
    """Of one run: the further its limit, the more room, before a trip and after it."""
    more = {"time_constant": 60.0} if name == "overload" else {"after": after}
    rooms = []
    for limit in limits:
        one = tripping(HIGHER, row(**{name: float(limit)}, **more), strategy=DRIVE)
        rooms.append(found(one, simulate(one, "it"))["trips"])
    assert (np.diff(rooms) > 0.0).all()


def test_a_row_with_a_time_has_the_room_of_what_lasted_so_long() -> None:
    """A pressure beyond its limit for 4 s of the 5 that trip, and back: no trip, no room; one that
    stays at p has (limit − p)/limit."""
    rises = [{"at": 10.0, "fixed_pressure": 1400.0}, {"at": 14.0, "fixed_pressure": 400.0}]
    rooms = {}
    for limit in (3000.0, 4500.0):
        one = tripping(rises, row(highest_pressure=limit, after=5.0), strategy=DRIVE)
        history = simulate(one, "it")
        rooms[limit] = found(one, history)["trips"]
        gauge = history.trace("node_pressure", "volume") - history.trace("node_pressure", "ambient")
        assert gauge.max() > 3000.0
        assert rooms[limit] > (limit - gauge.max()) / limit
    assert rooms[3000.0] >= 0.0
    resting = one.model_copy(update={"timeline": ()})
    at_rest = simulate(resting, "it")
    p = float(at_rest.trace("node_pressure", "volume")[0]
              - at_rest.trace("node_pressure", "ambient")[0])
    assert found(resting, at_rest)["trips"] == pytest.approx((4500.0 - p) / 4500.0, abs=1e-4)


def test_only_what_a_run_can_miss_is_asked_for() -> None:
    def names(one: Case) -> list[str]:
        return [r.name for r in asked(one, "it")]

    assert names(case(LINE, {"stop": {}}, [], RUNS)) == []
    assert names(CASES["stall"]) == ["trips"]
    assert names(CASES["hot"]) == ["procedures", "locked_rotor_time"]
    assert names(CASES["a drive"]) == ["procedures"]
    assert names(tripping([], row(effect="alarm", speed=1.2))) == []


def test_a_start_is_asked_for_only_where_something_can_begin_one() -> None:
    """An event, or a restart after a trip; a motor that stands waits for one."""
    hot = MOTOR | {"locked_rotor_time": 10.0}
    restart = {"start": START, "restart": {"wait": 10.0}}

    def names(done: dict[str, Any], timeline: list[dict[str, Any]], starts: dict[str, Any],
              *rows: dict[str, Any]) -> list[str]:
        one = case(LINE, done, timeline, starts, protection=list(rows), motor=hot)
        return [r.name for r in asked(one, "it")]

    assert names({"start": START}, [], RUNS) == []
    assert names({"start": START, "stop": {}}, [began("stop")], RUNS) == []
    assert names(restart, [], RUNS) == []
    assert names(restart, [], RUNS, STALL_TRIP | {"effect": "alarm"}) == []
    assert names(restart, [], RUNS, STALL_TRIP) == ["trips", "procedures", "locked_rotor_time"]
    assert names({"start": START}, [began("start")], RUNS) == ["procedures", "locked_rotor_time"]
    assert names({"start": START}, [], STANDS) == ["procedures"]


def test_a_slower_run_up_has_less_room(histories: dict[str, History]) -> None:
    """1 − t/t_most, t from the log."""
    start = histories["starts"].facts.procedures[0]
    assert start.speed_after_s is not None
    assert found(CASES["starts"], histories["starts"])["procedures"] == \
        pytest.approx(1.0 - start.speed_after_s / 30.0)
    heavy = plain().fan.model_dump(exclude_unset=True)
    slower = starting(duration=90.0, fan=heavy | {"inertia": 1.5 * heavy["inertia"]})
    room = found(slower, simulate(slower, "it"))["procedures"]
    assert 0.0 <= room < found(CASES["starts"], histories["starts"])["procedures"]
