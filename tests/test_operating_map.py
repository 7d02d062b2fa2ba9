"""The operating map holds in the plant that runs, on the curves, and against finer searches."""

from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from simfan import api
from simfan.kernel import layout
from simfan.operating_map import (
    DYNAMICALLY_UNSTABLE,
    STATICALLY_UNSTABLE,
    BestPath,
    OperatingPoint,
    StrategyMap,
)
from simfan.plant.case import Case
from simfan.plant.sequence import Sequence
from simfan.simulate import prepare
from simfan.steady.balance import Rest, starting_state
from simfan.steady.best_path import Chooser, best_path, with_table
from simfan.steady.path import ground, strategy_map
from simfan.steady.reach import Freed, region, settings_for_both
from simfan.steady.search import Search
from tests.plants import begin, fan, plain, run_from

SCENARIOS = {path.stem: api.load(path)
             for path in sorted((Path(__file__).parents[1] / "scenarios").glob("*.toml"))}
KILN, BED = SCENARIOS["kiln-air"], SCENARIOS["bed-air"]
EVERY = [(scenario, name) for scenario, case in SCENARIOS.items()
         for name, strategy in case.strategies.items()
         if not strategy.mid_ranging and not strategy.second_loop]
"""Where one output places all elements, so that manual is manual for all of them."""


@cache
def mapped(scenario: str, name: str) -> StrategyMap:
    """With few points, so that neighbours lie apart."""
    return strategy_map(SCENARIOS[scenario], name, 21)


def left_alone(case: Case, name: str, start: OperatingPoint, output: float, seconds: float,
               nudge: float = 1.0) -> layout.Traces:
    """The running plant in manual at an output, from a steady point whose flow is nudged, at the
    step that a run of the case chooses for itself."""
    case = case.model_copy(update={
        "timeline": (), "procedures": None, "run": case.run.model_copy(update={
            "duration": seconds, "setpoint": None, "starts_at": case.run.first_setpoint})})
    _, pace = prepare(case, name)
    assembled, plan, traces = begin(case, name, pace.step, pace.record)
    search = Search(assembled)
    _, found = search.points(np.array([start.output]))
    k = int(np.argmin(np.abs(found.x[:, search.bench.off.flow] - start.mass_flow)))
    x = found.x[k].copy()
    x[search.bench.n:] = 0.0
    state = starting_state(assembled, Rest(x, np.array([start.output]), start.held, True),
                           start.held)
    state.moving[search.bench.off.flow] *= nudge
    plan.manual[:] = output
    assert run_from(assembled, plan, traces, state) == layout.DONE
    return traces


@pytest.mark.parametrize(("scenario", "name"), EVERY)
def test_a_run_settles_where_the_map_says(scenario: str, name: str) -> None:
    """From the neighbouring point, in manual, to 0.1 % of flow, pressure and power; six places or
    more, down to a tenth of the flow."""
    points = mapped(scenario, name).points
    places = [k for k in range(1, len(points)) if points[k].stable and points[k - 1].stable
              and points[k].reached]
    assert len(places) > 5
    for k in places[:: max(1, len(places) // 6)]:
        case, point = SCENARIOS[scenario], points[k]
        got = left_alone(case, name, points[k - 1], point.output, 240.0)
        assert got.fan_flow[-1, 0] == pytest.approx(point.flow, rel=1e-3)
        assert got.fan_pressure[-1, 0] == pytest.approx(point.pressure, rel=1e-3)
        assert got.electrical_power[-1, 0] == pytest.approx(point.electrical_power, rel=1e-3)


@pytest.mark.parametrize("rests", [True, False])
def test_a_start_comes_to_rest_where_it_is_marked(rests: bool) -> None:
    """Speed against a fixed pressure, raised from its lowest, where the gas flows backwards: to the
    point that is marked, and not to the one beyond the fold that is stable as well."""
    points = mapped("bed-air", "variable-speed").points
    some = [p for p in points if p.stable and p.reached == rests]
    p = some[len(some) // 2] if rests else some[-1]
    lowest = ground(BED, "variable-speed").search.points_at(0.0)
    start = ground(BED, "variable-speed").judged(lowest)[0]
    assert start.flow < 0.0
    flow = left_alone(BED, "variable-speed", start, p.output, 400.0).fan_flow[-1, 0]
    assert (flow == pytest.approx(p.flow, rel=1e-3)) == rests
    assert rests or flow < 0.5 * p.flow


def test_an_unstable_point_swings_and_a_stable_one_comes_to_rest() -> None:
    points = mapped("kiln-air", "damper-at-kiln").points
    swings = [p for p in points if p.stability == DYNAMICALLY_UNSTABLE][1:8:3]
    rests = [p for p in points if p.stable][1:6:2]
    assert swings and rests
    for p, grows in [(p, True) for p in swings] + [(p, False) for p in rests]:
        flow = left_alone(KILN, "damper-at-kiln", p, p.output, 60.0, nudge=1.002).fan_flow[:, 0]
        early, late = np.ptp(flow[: flow.size // 12]), np.ptp(flow[-flow.size // 12:])
        assert (late > early) == grows


def test_a_statically_unstable_point_slides_to_another() -> None:
    """Speed against a fixed pressure: left of the fold nothing rests at the middle point."""
    some = [p for p in mapped("bed-air", "variable-speed").points
            if p.stability == STATICALLY_UNSTABLE]
    p = some[len(some) // 2]
    ends = [left_alone(BED, "variable-speed", p, p.output, 120.0, nudge).fan_flow[-1, 0]
            for nudge in (0.99, 1.01)]
    assert ends[0] < 0.8 * p.flow and ends[1] > 1.2 * p.flow


@pytest.mark.parametrize("scenario", list(SCENARIOS))
def test_points_fall_in_flow_and_closing_never_raises_it(scenario: str) -> None:
    for name in SCENARIOS[scenario].strategies:
        points = mapped(scenario, name).points
        assert len(points) > 15
        assert all(a.flow > b.flow for a, b in pairwise(points))
        reached = [p for p in points if p.reached]
        assert all(a.output >= b.output - 1e-9 for a, b in pairwise(reached))


@pytest.mark.parametrize(("scenario", "name"), EVERY)
def test_power_is_never_less_than_what_the_air_got(scenario: str, name: str) -> None:
    for p in mapped(scenario, name).points:
        if p.flow > 0.0 and p.efficiency is not None:
            assert p.efficiency < 1.0
            assert p.shaft_power > p.flow * p.pressure
        assert p.electrical_power >= p.shaft_power


@pytest.mark.parametrize("name", ["damper-at-kiln", "damper-at-fan"])
def test_the_damper_takes_the_difference_of_fan_and_system(name: str) -> None:
    """Common practice, no source. What the fan gives less what the damper takes is what the process
    needs: p₀ + (p_d − p₀)(Q/Q_d)², of which the thicker air behind the fan and its other mass at
    the same volume leave 3 % of the damper's share at most."""
    process = KILN.process
    for p in mapped("kiln-air", name).points[1:-1]:
        need = process.fixed_pressure + (process.design.pressure - process.fixed_pressure) * (
            p.flow / process.design.flow) ** 2
        assert p.pressure - p.taken["outlet damper"] == pytest.approx(need, rel=0.03, abs=15.0)


def test_all_solutions_alternate_between_stable_and_sliding() -> None:
    found = api.points_at(BED, "variable-speed", {"speed": 0.79})
    assert len(found) == 3
    assert [p.stability == STATICALLY_UNSTABLE for p in found] == [False, True, False]
    assert [p.reached for p in found] == [True, False, False]


@pytest.mark.parametrize(("name", "above", "below"), [
    ("damper-at-kiln", "outlet damper wide open", "stall margin below 5 %"),
    ("inlet-vanes", "inlet vanes wide open", "inlet vanes shut: what passes is its leakage"),
    ("vanes-then-speed", "highest speed, 100 % of rated", "minimum speed, 40 % of rated"),
])
def test_what_ends_the_range_is_told(name: str, above: str, below: str) -> None:
    found = mapped("kiln-air", name).turndown
    assert above in found.ended_above_by and below in found.ended_below_by
    assert found.lowest is not None and found.lowest.missed == ()


def changed_drive(**fields: object) -> Case:
    """The kiln with another drive on its variable speed."""
    strategy = KILN.strategies["variable-speed"]
    assert strategy.speed is not None
    drive = type(strategy.speed).model_validate(strategy.speed.model_dump() | fields)
    return KILN.model_copy(update={"strategies": {
        "variable-speed": strategy.model_copy(update={"speed": drive})}})


def test_a_skip_band_makes_a_hole_and_no_end() -> None:
    case = changed_drive(skip={"low": 0.70, "high": 0.75})
    found = strategy_map(case, "variable-speed", 41)
    assert any("skip band" in limit for p in found.points for limit in p.missed)
    assert any("cannot rest" in said for said in found.findings)
    assert "stall margin" in found.turndown.ended_below_by


def test_a_full_motor_ends_the_range_above() -> None:
    criteria = KILN.criteria.model_copy(update={"motor_load": 0.6})
    found = strategy_map(KILN.model_copy(update={"criteria": criteria}), "damper-at-fan", 21)
    assert found.turndown.ended_above_by == "motor load above 60 %"
    assert found.turndown.highest is not None
    assert found.turndown.highest.motor_load == pytest.approx(0.6, rel=1e-4)


def test_a_larger_volume_turns_the_same_point_dynamically_unstable() -> None:
    """Same steady point; beyond its critical volume it swings, below it rests."""
    points = [p for p in mapped("kiln-air", "damper-at-kiln").points if p.critical_volume]
    assert points
    for p in points[::3]:
        assert p.critical_volume is not None
        for share, swings in ((0.8, False), (1.25, True)):
            duct = KILN.ductwork.model_copy(update={"volume": share * p.critical_volume})
            got = ground(KILN.model_copy(update={"ductwork": duct}), "damper-at-kiln").at_flow(
                p.mass_flow)
            assert got is not None
            assert got.flow == pytest.approx(p.flow, rel=1e-9)
            assert (got.stability == DYNAMICALLY_UNSTABLE) == swings


def least_found(monkeypatch: pytest.MonkeyPatch, steepest: float) -> BestPath:
    monkeypatch.setattr("simfan.steady.best_path.STEEPEST", steepest)
    found = best_path(KILN, "vanes-with-speed")
    assert not isinstance(found, str)
    return found


def test_no_setting_of_a_fine_grid_takes_less_than_the_best_path(
    monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a limit on how fast the elements move along it."""
    chooser, best = Chooser(KILN, "vanes-with-speed"), least_found(monkeypatch, 1e3)
    vanes = np.linspace(0.0, 1.0, 401)
    order = np.argsort(best.held)
    for flow in np.linspace(5.0, 50.0, 12):
        grid = chooser.choice(vanes, np.full(vanes.size, flow))
        k = int(np.argmin(grid.power))
        least = np.interp(grid.held[k], np.array(best.held)[order],
                          np.array(best.electrical_power)[order])
        # straight lines between 41 points lie above a curve bent upward, by 2e-3 here
        assert least <= grid.power[k] * (1.0 + 4e-3)


def test_the_limit_on_the_elements_pace_costs_power_and_never_saves_any(
    monkeypatch: pytest.MonkeyPatch) -> None:
    free, slow = (np.array(least_found(monkeypatch, s).electrical_power) for s in (1e3, 1.5))
    assert np.all(slow >= free * (1.0 - 1e-6))
    assert slow.sum() > free.sum() * (1.0 + 1e-4)


def test_the_written_table_takes_no_more_than_was_said() -> None:
    best = best_path(KILN, "vanes-with-speed")
    assert not isinstance(best, str)
    table = Sequence(output=best.table["output"], inlet_vanes=best.table["inlet vanes"],
                     speed=best.table["speed"])
    assert table.output is not None and len(table.output) <= 8
    case, power = with_table(KILN, "vanes-with-speed", best.table), []
    held = np.array(best.held)[::-1]
    for wanted in np.linspace(held[2], held[-3], 9):
        point = api.point_for(case, "vanes-with-speed", float(wanted))
        assert not isinstance(point, str)
        least = np.interp(wanted, held, np.array(best.electrical_power)[::-1])
        power.append(point.electrical_power / least - 1.0)
    assert max(power) < best.excess + 5e-3


def test_two_targets_at_once_are_met_where_a_process_takes_them() -> None:
    flow, pressure = 30.0, 2500.0
    found = settings_for_both(KILN, "vanes-then-speed", flow, pressure)
    assert not isinstance(found, str)
    design = KILN.process.design.model_copy(update={"flow": flow, "pressure": pressure})
    process = KILN.process.model_copy(update={"design": design, "fixed_pressure": 0.0})
    points = api.points_at(KILN.model_copy(update={"process": process}), "vanes-then-speed",
                           found.positions)
    assert points[-1].volume_pressure == pytest.approx(pressure, rel=1e-4)
    assert points[-1].mass_flow == pytest.approx(KILN.air.density * flow, rel=1e-4)


def test_no_setting_at_random_beats_the_reach() -> None:
    free, found = Freed(KILN, "vanes-with-speed"), region(KILN, "vanes-with-speed")
    rng = np.random.default_rng(1)
    position = np.stack([rng.uniform(0.0, 1.0, 4000), rng.uniform(0.4, 1.0, 4000)], axis=1)
    given = free.gives(position, rng.uniform(3.0, 70.0, 4000))
    good = free.within(given)
    flows = np.array(found.flow)
    top = np.array([np.nan if p is None else p for p in found.highest])
    known = np.isfinite(top)
    at = np.interp(given.flow, flows[known], top[known], left=np.nan, right=np.nan)
    assert good.sum() > 500
    assert np.nanmax((given.pressure - at)[good]) < 0.03 * np.nanmax(top)


def test_rated_current_is_that_of_the_nameplate() -> None:
    """315 kW 690 V .958 .86 → 319.9 A (closed form P/(√3·V·η·pf)); the point nearest full load."""
    motor = {"rating": 315e3, "poles": 6, "efficiency": 0.958, "power_factor": 0.86,
             "voltage": 690.0}
    case = plain(fan=fan("B"), motor=motor)
    point = strategy_map(case, next(iter(case.strategies)), 11).points[0]
    full = replace(point, electrical_power=315e3 / 0.958)
    assert point.current / point.electrical_power * full.electrical_power == pytest.approx(
        319.9, abs=0.05)
