"""Strategies side by side: who meets the criteria, why not, and what the JSON holds."""

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest

from simfan import __version__
from simfan.compare import compare
from simfan.plant.case import Criteria
from tests import synthetic

SURGING = synthetic.history("outlet-damper", surge=(125.0, 175.0))
CALM = synthetic.history("drive", "variable speed")
SET = Criteria(settling_time=30.0, overshoot=0.1, stall_margin=0.1)


def stopped_at(seconds):
    """The calm run, as it would be had its numbers ended here."""
    why = f"speed of fan is not a number at {seconds:g} s"
    run = synthetic.history("drive", "variable speed", stopped=why)
    speed = run.traces["speed_ratio"].copy()
    speed[run.time >= seconds] = math.nan
    return replace(run, traces={**run.traces, "speed_ratio": speed})


def with_facts(run, **facts):
    return replace(run, facts=replace(run.facts, **facts))


def only(run, criteria=SET):
    """The one result of comparing one run."""
    return compare([run], criteria).strategies[0]


def test_the_verdict_of_a_surging_run_tells_how_often_when_and_why():
    result = only(SURGING, Criteria())
    assert not result.meets_criteria
    assert result.verdict == (
        "surging for 49.2 s (50 cycles, 126 s to 175 s) after setpoint 36 → 27 m3/s at 120 s, "
        "outlet damper closing"
    )


def test_the_verdict_of_a_calm_run_tells_its_margin():
    result = only(CALM)
    assert result.meets_criteria
    assert result.misses == ()
    assert re.fullmatch(r"meets the criteria; lowest stall margin \d\d\.\d %", result.verdict)
    lowest = result.measures.excursions.lowest_stall_margin_percent
    assert float(result.verdict.split()[-2]) == pytest.approx(lowest, abs=0.05)


def test_left_of_the_peak_without_surge_is_told_but_meets():
    result = only(synthetic.history("at-the-fan"), Criteria())
    assert result.meets_criteria
    assert "left of the peak for" in result.verdict
    assert result.verdict.endswith("s without surging")


def test_surge_that_is_not_a_criterion_is_told_all_the_same():
    result = only(SURGING, Criteria(surge_cycles=None))
    assert result.meets_criteria
    assert result.verdict.startswith("meets the criteria; surging for 49.2 s (50 cycles")


def test_two_spells_of_surge_are_told_as_two():
    first, second = SURGING, synthetic.history(surge=(200.0, 250.0))
    late = first.time > 190.0
    traces = {k: np.where(late[:, None], second.traces[k], v) for k, v in first.traces.items()}
    verdict = only(replace(first, traces=traces), Criteria()).verdict
    assert verdict.startswith(
        "surging for 98.5 s (100 cycles, 126 s to 250 s) in 2 spells, the first after setpoint")


def test_a_lost_stall_margin_tells_for_how_long_after_what_and_what_was_moving():
    result = only(synthetic.history("at-the-fan"), Criteria(stall_margin=0.05))
    found = result.measures.excursions
    left = next(e for e in found.events if e.kind == "left of the peak")
    assert result.verdict == (
        f"stall margin down to {found.lowest_stall_margin_percent:.3g} %, wanted 5 %, left of the "
        f"peak for {left.duration_s:.0f} s after setpoint 36 → 27 m3/s at 120 s, "
        "outlet damper closing"
    )


def test_a_margin_that_is_thin_but_there_tells_when_it_was_thinnest():
    result = only(CALM, Criteria(stall_margin=0.9))
    lowest = result.measures.excursions.lowest_stall_margin_at_s
    assert result.verdict.endswith(f"wanted 90 %, at {lowest:.3g} s")


def test_an_overloaded_motor_tells_for_how_long_and_after_what():
    result = only(CALM, Criteria(motor_load=0.5))
    words = next(m.words for m in result.misses if m.criterion == "motor_load")
    assert re.search(r"allowed 50 %, for [\d.]+ s after the start of the run$", words)


def test_a_setpoint_out_of_reach_is_a_finding_and_the_criteria_are_not_met():
    finding = "cannot reach 12 m3/s: the lowest speed still moves 16.2 m3/s"
    result = only(with_facts(CALM, findings=(finding,)))
    assert not result.meets_criteria
    assert result.misses == ()
    assert result.verdict == finding


def test_a_run_that_stopped_never_meets_but_is_judged_as_far_as_it_went():
    result = only(stopped_at(150.0))
    assert not result.meets_criteria
    stopped = "stopped on its numbers: speed of fan is not a number at 150 s"
    assert result.verdict.startswith(stopped)
    assert result.measures.energy.electrical_kwh > 0.0
    whole = only(CALM)
    share = result.measures.energy.volume_m3 / whole.measures.energy.volume_m3
    assert 0.3 < share < 0.5
    assert whole.measures.tracking.changes[0] == result.measures.tracking.changes[0]


def test_a_run_with_nothing_to_judge_has_no_measures_and_says_why():
    result = only(stopped_at(0.0))
    assert result.measures is None
    assert not result.meets_criteria
    assert result.verdict == "stopped on its numbers: speed of fan is not a number at 0 s"
    told = compare([stopped_at(0.0)], SET).to_json()["strategies"][0]
    for group in ("tracking", "energy", "excursions", "travel"):
        assert told[group] is None
        assert told["reasons"][group] == (
            "the run stopped on its numbers before there was anything to judge"
        )
    assert told["audit"]["stopped"] == "speed of fan is not a number at 0 s"


def test_a_run_with_nothing_to_judge_does_not_hide_the_others():
    names = [(s.name, s.meets_criteria) for s in compare([stopped_at(0.0), CALM], SET).strategies]
    assert names == [("drive", False), ("drive", True)]


def test_a_long_list_of_misses_is_cut_and_counted():
    strict = Criteria(time_outside_band=1.0, overshoot=0.1, settling_time=5.0, stall_margin=0.1)
    result = only(SURGING, strict)
    assert len(result.misses) == 5
    assert result.verdict.count(";") == 3
    assert result.verdict.endswith("; and 2 more")


def test_no_run_is_nothing_to_compare():
    with pytest.raises(ValueError, match="at least one is needed"):
        compare([], SET)


# The JSON.

DOCUMENT = compare([SURGING, CALM, stopped_at(0.0)], SET, file="kiln.toml").to_json()


def test_the_json_has_the_promised_names():
    assert list(DOCUMENT)[:3] == ["schema_version", "simfan", "scenario"]
    assert (DOCUMENT["schema_version"], DOCUMENT["simfan"]) == (1, __version__)
    assert DOCUMENT["scenario"]["title"] == "Kiln combustion air: which way to hold the flow"
    assert DOCUMENT["scenario"]["file"] == "kiln.toml"
    surging = DOCUMENT["strategies"][0]
    assert set(surging) >= {"name", "method", "meets_criteria", "verdict", "tracking", "energy",
                            "excursions", "travel", "audit"}  # fmt: skip
    assert set(surging["tracking"]["whole"]) >= {"iae_percent_s", "time_outside_band_s"}
    assert set(surging["tracking"]["changes"][0]) >= {
        "at_s", "iae_percent_s", "overshoot_percent", "settling_time_s",
    }  # fmt: skip
    assert set(surging["energy"]) >= {"shaft_kwh", "electrical_kwh", "cost", "kwh_per_1000_m3"}
    assert set(surging["excursions"]) >= {
        "lowest_stall_margin_percent", "time_left_of_peak_s", "surge_cycles", "reverse_flow_s",
        "highest_motor_load_percent", "highest_speed_percent", "events",
    }  # fmt: skip
    assert set(surging["audit"]) >= {"step_s", "mass_balance_residual"}
    assert surging["excursions"]["events"][0]["kind"] == "surge"
    assert surging["excursions"]["events"][0]["cycles"] == 50


def walk(value, path=""):
    """(path, value, the object it stands in) of everything in a document."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value)
    for key, inner in pairs:
        yield f"{path}.{key}", inner, value
        if isinstance(inner, (dict, list)):
            yield from walk(inner, f"{path}.{key}")


def test_the_json_holds_finite_numbers_and_a_reason_for_each_null():
    assert json.loads(json.dumps(DOCUMENT, allow_nan=False)) == DOCUMENT
    nulls = [(path, around) for path, value, around in walk(DOCUMENT) if value is None]
    assert len(nulls) > 5
    assert [p for p, around in nulls if not around.get("reasons", {}).get(p.rsplit(".")[-1])] == []


WITHOUT_UNIT = {"cost", "crossings", "cycles", "depth", "events_not_listed", "got", "limit",
                "reversals", "schema_version", "steps", "stiff_steps", "surge_cycles",
                "mass_balance_residual", "gain", "setpoint_weight", "derivative_filter"}
"""Counts, shares, money (its currency stands beside it), and what has its unit in a field."""

UNITS = ("_s", "_s2", "_percent", "_percent_s", "_percent2_s", "_percent_s2", "_kwh", "_m3",
         "_m3_s", "_pa", "_hz")  # fmt: skip


def test_every_number_carries_its_unit_in_its_name():
    numbers = {p.rsplit(".")[-1] for p, v, _ in walk(DOCUMENT)
               if isinstance(v, (int, float)) and not isinstance(v, bool)}  # fmt: skip
    assert {n for n in numbers if not n.endswith(UNITS)} <= WITHOUT_UNIT


def test_the_same_runs_give_the_same_document():
    again = compare([SURGING, CALM, stopped_at(0.0)], SET, file="kiln.toml").to_json()
    assert again == DOCUMENT
