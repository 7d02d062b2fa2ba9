"""What each scenario about structures of loops says that it shows, in its opening comment."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from simfan import api
from simfan.compare import Comparison, StrategyResult
from simfan.report.account import tuning_words

SCENARIOS = Path(__file__).parent.parent / "scenarios"
NAMES = ("sinter-cooler", "spray-tower", "roaster-limits", "glasshouse-header")


@cache
def answer(name: str) -> Comparison:
    return api.compare(api.load(SCENARIOS / f"{name}.toml"))


def strategies(name: str) -> dict[str, StrategyResult]:
    return {s.name: s for s in answer(name).strategies}


def absolute_error(result: StrategyResult, start: float, end: float) -> float:
    """∫|e| dt of the true value between two times [m³]."""
    history = result.history
    error = history.traces["setpoint"][:, 0] - history.traces["true_value"][:, 0]
    during = (history.time >= start) & (history.time < end)
    return float(np.abs(error[during]).sum() * history.facts.record_s)


def overshoot(result: StrategyResult) -> float:
    assert result.measures
    return max(c.overshoot_percent or 0.0 for c in result.measures.tracking.changes)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_in_it_is_lost(name: str) -> None:
    for result in answer(name).strategies:
        assert result.history.audit.stopped is None
        assert result.measures is not None


def test_mid_ranging_halves_the_error_and_overshoots_and_a_gap_doubles_it() -> None:
    found = strategies("sinter-cooler")
    whole = {n: absolute_error(s, 0.0, 600.0) for n, s in found.items()}
    assert whole["mid-ranging"] < 0.6 * min(whole["speed-alone"], whole["split-overlap"])
    assert whole["split-gap"] > 1.7 * whole["split-overlap"]
    assert overshoot(found["mid-ranging"]) > 15.0
    assert overshoot(found["split-overlap"]) < 1.0


def test_speed_alone_takes_least_and_vanes_that_come_back_a_little_more() -> None:
    used = {n: s.measures.energy.electrical_kwh
            for n, s in strategies("sinter-cooler").items() if s.measures}
    assert min(used, key=lambda n: used[n]) == "speed-alone"
    assert 1.02 < used["mid-ranging"] / used["speed-alone"] < 1.15


def test_the_cascade_catches_the_filter_and_feedforward_the_setpoints_alone() -> None:
    found = strategies("spray-tower")
    setpoints = {n: absolute_error(s, 30.0, 220.0) for n, s in found.items()}
    clogging = {n: absolute_error(s, 220.0, 360.0) for n, s in found.items()}
    assert clogging["cascade"] < 0.35 * clogging["single-loop"]
    assert clogging["feedforward"] == pytest.approx(clogging["single-loop"], rel=0.05)
    assert setpoints["feedforward"] < 0.65 * setpoints["single-loop"]
    assert overshoot(found["feedforward"]) > 5.0 + overshoot(found["single-loop"])


def test_a_slow_setpoint_is_late_and_does_nothing_for_a_load() -> None:
    found = strategies("spray-tower")
    late, quick = (absolute_error(found[n], 30.0, 220.0) for n in ("slow-setpoint", "single-loop"))
    assert late > 1.5 * quick
    assert absolute_error(found["slow-setpoint"], 220.0, 360.0) == pytest.approx(
        absolute_error(found["single-loop"], 220.0, 360.0), rel=0.05)


def test_limits_keep_the_roaster_s_fan_and_cost_it_its_setpoint() -> None:
    found = strategies("roaster-limits")
    free = found["unprotected"].measures
    assert free and free.excursions.lowest_stall_margin_percent < -10.0
    assert free.excursions.highest_motor_load_percent > 105.0
    for name in ("with-overrides", "with-floor"):
        assert found[name].meets_criteria
        kept = found[name].measures
        assert kept and kept.excursions.lowest_stall_margin_percent > 9.0
        assert kept.excursions.highest_motor_load_percent < 99.0
        assert kept.tracking.whole.iae_percent_s > 3.0 * free.tracking.whole.iae_percent_s
        assert found[name].history.traces["true_value"][-1, 0] == pytest.approx(36.0, abs=0.1)


def test_loops_that_limit_are_not_told_as_controllers_at_their_limit() -> None:
    for result in answer("roaster-limits").strategies:
        assert result.measures
        assert not [e for e in result.measures.excursions.events if e.where.endswith("limit")]


def header(result: StrategyResult) -> np.ndarray:
    """Pressure of the volume over the run [Pa], against the air around it."""
    history = result.history
    at = history.items["node"].index
    pressure = history.traces["node_pressure"]
    return np.asarray(pressure[:, at("volume")] - pressure[:, at("ambient")])


def test_two_loops_hold_header_and_flow_at_half_the_energy_and_crossed_they_swing_more() -> None:
    found = strategies("glasshouse-header")
    alone, right, crossed = (found[n] for n in ("flow-alone", "two-loops", "two-loops-crossed"))
    assert alone.measures and right.measures
    assert header(alone).min() > 4600.0
    assert np.abs(header(right) - 2400.0).max() < 250.0
    assert np.abs(header(crossed) - 2400.0).max() > 1.5 * np.abs(header(right) - 2400.0).max()
    assert absolute_error(crossed, 0.0, 360.0) > 1.3 * absolute_error(right, 0.0, 360.0)
    assert absolute_error(alone, 0.0, 360.0) < absolute_error(right, 0.0, 360.0)
    energy = right.measures.energy.electrical_kwh / alone.measures.energy.electrical_kwh
    assert energy == pytest.approx(0.5, abs=0.05)
    assert alone.measures.excursions.time_left_of_peak_s > 60.0


def test_the_gains_of_every_loop_are_told_and_stand_in_the_json() -> None:
    """What is typed into a control system is more than the first controller."""
    done = answer("glasshouse-header")
    place = [s.name for s in done.strategies].index("two-loops")
    facts = done.strategies[place].history.facts
    assert dict(facts.other_loops) == {"pressure": {"gain": 0.4, "reset_s": 12.0}}
    assert "pressure gain 0.4, pressure reset 12 s" in tuning_words(facts, "si")
    assert done.to_json()["strategies"][place]["other_loops"] == {
        "pressure": {"gain": 0.4, "reset_s": 12.0}}
