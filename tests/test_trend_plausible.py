"""A column of the wrong unit or factor is doubted, and a right one, or a plant at a standstill, is
not. Factors are those of the units themselves: 3600 s in an hour, 1000 Pa in a kPa, 100 % in 1."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from simfan.api import Case, Trend, load
from simfan.fitting.fit import fit
from simfan.trends.judge import judge
from simfan.trends.mapping import with_words
from simfan.trends.plausible import doubts
from tests.recorded import columns
from tests.test_trend_judgement import case_of, recorded, run_of

TEN = load("scenarios/ten-lines.toml")
NAMES = ("damper", "variable-speed", "vanes")


def trend_of(folder: Path, name: str, without: tuple[str, ...] = ()) -> tuple[Case, Trend]:
    """The scenario that says the columns, and its run as a trend."""
    case = case_of(name)
    said = with_words(None, columns(run_of(name), without), ())
    return (case.model_copy(update={"trend": said}),
            recorded(folder, case, name, run_of(name), 5, without))


def times(trend: Trend, by: float, *names: str) -> Trend:
    """These signals, read in another unit."""
    return replace(trend, signals={**trend.signals, **{n: by * trend.signals[n] for n in names}})


@pytest.mark.parametrize("name", NAMES)
def test_a_trend_in_its_own_units_is_not_doubted(tmp_path: Path, name: str) -> None:
    case, trend = trend_of(tmp_path, name)
    assert doubts(trend, case, name) == {}


@pytest.mark.parametrize(("factor", "signals", "hint"), [
    (1e-3, ("setpoint", "measured_value", "true_value", "fan_flow"), "1000 times as much"),
    (3600.0, ("measured_value",), "In m3/h or cfm it would fit"),
    (1.0 / 60.0, ("fan_flow",), "would fit"),
    (1e-3, ("fan_pressure",), "In kPa or "),
    (1e3, ("fan_pressure",), "1/1000 of it would fit"),
    (1e-3, ("electrical_power",), "In kW or hp it would fit"),
    (1e3, ("shaft_power",), "1/1000 of it would fit"),
    (100.0, ("motor_load",), "1/100 of it would fit"),
    (0.01, ("element_position of outlet damper",), "100 times as much"),
    (100.0, ("controller_output",), "1/100 of it would fit")])
def test_a_wrong_unit_is_doubted_and_the_right_one_named(
    tmp_path: Path, factor: float, signals: tuple[str, ...], hint: str
) -> None:
    case, trend = trend_of(tmp_path, "damper")
    found = doubts(times(trend, factor, *signals), case, "damper")
    assert found.keys() == set(signals)
    for name in signals:
        assert hint in found[name]
        column = trend.signals[name]
        largest = factor * np.percentile(np.abs(column[np.isfinite(column)]), 95.0)
        assert f"at most {largest:.3g} " in found[name]


def test_a_speed_in_the_wrong_unit_is_doubted(tmp_path: Path) -> None:
    """1480 rpm read as percent of rated speed."""
    case, trend = trend_of(tmp_path, "variable-speed")
    found = doubts(times(trend, 14.8, "speed_ratio"), case, "variable-speed")
    assert found.keys() == {"speed_ratio"} and "rpm" in found["speed_ratio"]


def test_a_plant_at_a_standstill_is_not_doubted(tmp_path: Path) -> None:
    """Readings are noise of a thousandth of what the plant can do; the setpoint still stands."""
    case, trend = trend_of(tmp_path, "damper")
    noise = np.random.default_rng(2).standard_normal(len(trend.time))
    size = {"measured_value": 5e-3, "true_value": 5e-3, "fan_flow": 5e-3, "fan_pressure": 2.0,
            "electrical_power": 20.0, "shaft_power": 20.0, "motor_load": 1e-3,
            "speed_ratio": 1e-3, "volume_pressure": 2.0}
    still = {n: size[n] * noise if n in size else v for n, v in trend.signals.items()}
    assert doubts(replace(trend, signals=still), case, "damper") == {}
    nothing = {n: np.zeros(len(trend.time)) for n in trend.signals}
    assert doubts(replace(trend, signals=nothing), case, "damper") == {}


def test_setpoint_and_flow_alone_are_doubted_where_a_loop_holds_them(tmp_path: Path) -> None:
    """A thousand times too small, and nothing else in the trend that shows a fan at work."""
    case, trend = trend_of(tmp_path, "damper")
    only = {n: 1e-3 * trend.signals[n] for n in ("setpoint", "measured_value")}
    assert doubts(replace(trend, signals=only), case, "damper").keys() == only.keys()


def test_judge_tells_the_doubt_first_and_refuses_nothing(tmp_path: Path) -> None:
    case, trend = trend_of(tmp_path, "damper")
    found = judge(case, times(trend, 1e-3, "fan_flow"), "damper", simulate=False)
    assert found.notes[0].startswith("DOUBTFUL: fan_flow") and "fan_flow" in found.notes[0]
    assert found.recorded.measures is not None


def test_fit_tells_the_doubt_with_its_findings(tmp_path: Path) -> None:
    case, trend = trend_of(tmp_path, "damper")
    found = fit(case, "damper", times(trend, 1e-3, "fan_pressure"), ["process.design.pressure"],
                starts=1)
    assert found.findings[0].startswith("DOUBTFUL: fan_pressure")
