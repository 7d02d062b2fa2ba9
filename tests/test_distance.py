"""Signed distances: temporal logic on signals made by hand, and the same verdict as `misses`."""

from dataclasses import replace

import numpy as np
import pytest

from simfan import api
from simfan.history import History
from simfan.metrics import judge, misses
from simfan.metrics.distance import always, distances, eventually, requirements, settles
from simfan.plant.case import Case, Criteria
from simfan.stress.space import Space, random_points
from tests.campaigns import PLANT

TIGHT = """
[criteria]
overshoot = "1 %"
settling_time = "20 s"
time_outside_band = "8 s"
stall_margin = "10 %"
motor_load = "65 %"
speed = "100.5 %"
highest_pressure = "2 kPa"
lowest_pressure = "700 Pa"
[stress]
vary = [{ of = "control.controller.gain", log = [0.8, 12.0] }]
[stress.moves]
from = ["2.4 m3/s", "5 m3/s"]
to = ["1.6 m3/s", "5.4 m3/s"]
over = ["0 s", "20 s"]
at = "20 s"
"""
"""Limits so near to what the runs do that each is both kept and missed among them."""
NUMBER = 24


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Case, list[History]]:
    path = tmp_path_factory.mktemp("distance") / "tight.toml"
    path.write_text(PLANT + TIGHT, "utf-8")
    case = api.load(path)
    space = Space(case, "damper")
    return case, [api.run(space.case_of(space.values(p)), "damper")
                  for p in random_points(2, 0, NUMBER, len(space.inputs))]


def missed(history: History, criteria: Criteria) -> set[str]:
    measured = judge(history, criteria)
    return {m.criterion for m in misses(measured, criteria, history.facts)}


def below_zero(history: History, criteria: Criteria) -> set[str]:
    asked = requirements(criteria, history.facts.max_safe_speed_ratio)
    return {r.name for r, d in zip(asked, distances(history, criteria), strict=True) if d < 0.0}


def test_a_distance_is_below_zero_exactly_where_the_criterion_is_missed(
        runs: tuple[Case, list[History]]) -> None:
    case, histories = runs
    for history in histories:
        assert below_zero(history, case.criteria) == missed(history, case.criteria)


def test_the_runs_both_keep_and_miss_most_limits(runs: tuple[Case, list[History]]) -> None:
    """Else the test above would compare nothing."""
    case, histories = runs
    found = [below_zero(history, case.criteria) for history in histories]
    told = {name for name in set().union(*found) if any(name not in f for f in found)}
    assert len(told) >= 6, told


@pytest.mark.parametrize(("name", "wider"), [
    ("overshoot", 0.3), ("settling_time", 40.0), ("time_outside_band", 30.0), ("motor_load", 1.2),
    ("highest_pressure", 4000.0), ("stall_margin", 0.01), ("lowest_pressure", 100.0)])
def test_a_wider_limit_never_breaks_what_was_kept(runs: tuple[Case, list[History]], name: str,
                                              wider: float) -> None:
    case, histories = runs
    asked = [r.name for r in requirements(case.criteria, 1.2)]
    loose = case.criteria.model_copy(update={name: wider})
    for history in histories:
        near, far = (distances(history, c)[asked.index(name)] for c in (case.criteria, loose))
        assert far >= 0.0 or near < 0.0


def test_always_eventually_and_settles_of_straight_lines() -> None:
    """Temporal logic over signals (Donzé and Maler 2010, from memory), by hand: g falls from 2 at
    0 s to −1 at 3 s and rises to 5 at 9 s."""
    time, g = np.array([0.0, 3.0, 9.0]), np.array([2.0, -1.0, 5.0])
    assert always(g) == -1.0
    assert eventually(time, g, 2.0) == 2.0
    assert eventually(time, g, 7.0) == pytest.approx(3.0)
    assert settles(time, g, 5.0) == pytest.approx(1.0)
    assert settles(time, g, 1.0) == -1.0


def test_a_run_without_a_step_or_a_stall_line_has_nothing_to_come_near_to(
        runs: tuple[Case, list[History]]) -> None:
    case, (history, *_) = runs
    nothing = replace(history, facts=replace(history.facts, changes=()), traces={
        **history.traces, "stall_flow": np.full_like(history.traces["stall_flow"], np.nan)})
    asked = [r.name for r in requirements(case.criteria, 1.2)]
    found = dict(zip(asked, distances(nothing, case.criteria), strict=True))
    assert found["overshoot"] == found["settling_time"] == found["stall_margin"] == 1.0


def test_a_tiny_move_is_not_the_worst_case(runs: tuple[Case, list[History]]) -> None:
    """The larger part of a run's own error, told as a share of a move of 0.1 %, would be thousands
    of times the limit; it is judged by the band about the setpoint and has its room."""
    case, _ = runs
    criteria = case.criteria.model_copy(update={"overshoot": 0.1, "settling_time": 20.0})
    space = Space(case, "damper")
    move = dict(zip((i.name for i in space.inputs), space.values(space.nominal), strict=True))
    moved = move | {"from": 4.0, "to": 4.004, "over": 0.0}
    history = api.run(space.case_of(tuple(moved.values())), "damper")
    assert not missed(history, criteria) & {"overshoot", "settling_time"}
    asked = [r.name for r in requirements(criteria, 1.2)]
    found = dict(zip(asked, distances(history, criteria), strict=True))
    assert 0.5 < found["overshoot"] <= 1.1 and 0.5 < found["settling_time"] <= 1.0


def test_surge_leaves_a_slope_before_it_and_counts_cycles_after(
        runs: tuple[Case, list[History]]) -> None:
    """The nearer the flow came to the stall line the less room; each cycle is one more below."""
    case, histories = runs
    place = [r.name for r in requirements(case.criteria, 1.2)].index("surge_cycles")
    calm = []
    for history in histories:
        cycles = judge(history, case.criteria).excursions.surge_cycles
        room = distances(history, case.criteria)[place]
        if cycles:
            assert room == -cycles
        else:
            ratio = np.min(history.traces["fan_flow"] / history.traces["stall_flow"])
            calm.append((float(ratio), float(room)))
    ordered = [room for _, room in sorted(calm)]
    assert ordered == sorted(ordered)
