"""Strategies without gains: tuned alike before they run, told as they ran, never lost."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from simfan import api, history
from simfan.cli import main
from simfan.compare import Comparison, together
from simfan.errors import RunError
from simfan.loops.equal import equal
from simfan.loops.over_range import Loop
from simfan.plant.case import Case
from simfan.plant.control import Controller
from simfan.report import robustness
from simfan.simulate import simulate
from tests import plants

DAMPER = {"outlet_damper": {**plants.DAMPER, "place": "before volume"}}
SPEED = {"speed": {"ramp_up": 40.0, "ramp_down": 60.0, "minimum": 0.3}}
BOTH = {"damper": DAMPER, "drive": SPEED}


def untuned(control: dict[str, Any] | None = None, **changes: Any) -> Case:
    """A damper near the fan and a drive, without gains."""
    return plants.plain(**{"strategies": BOTH, "control": {"scan": 0.25, **(control or {})},
                           **changes})


@cache
def answer() -> Comparison:
    return api.compare(untuned())


@pytest.mark.parametrize("target", [1.3, 1.6, 2.0])
def test_every_strategy_keeps_the_ms_it_is_tuned_to_over_one_range(target: float) -> None:
    """Judged anew at points between those of the search, with the gains as they are typed in. 1 %
    of Ms is left for what the gain does between the points."""
    case = untuned({"max_sensitivity": target})
    found = equal(case, list(case.strategies))
    assert len({(r.low, r.high) for r in found.robustness.values()}) == 1
    for name, told in found.robustness.items():
        assert told.sought and told.gains and told.sensitivity and told.low and told.high
        assert 1.0 < told.sensitivity <= target
        assert told.gains == tuple(float(f"{g:.3g}") for g in told.gains)
        between = Loop(found.case, name, told.low, told.high, n=38)
        assert max(m.sensitivity for m in between.margins(between.given())) < 1.01 * target


def test_less_robustness_asked_for_gives_more_gain() -> None:
    gains = []
    for target in (1.2, 1.6, 2.5):
        found = equal(untuned({"max_sensitivity": target}), ["damper"])
        gains.append(found.robustness["damper"].gains)
    assert all(g for g in gains)
    assert [g[1] / g[0] for g in gains if g] == sorted([g[1] / g[0] for g in gains if g],
                                                      reverse=True)


def test_a_run_alone_is_tuned_as_in_the_comparison() -> None:
    alone = api.run(untuned(), "drive")
    beside = answer().strategies[1].history
    assert alone.facts.tuning == beside.facts.tuning
    assert np.array_equal(alone.traces["true_value"], beside.traces["true_value"])


def test_what_the_result_prints_is_what_was_run() -> None:
    """Typed into the scenario it gives the same bits."""
    told = {s["name"]: s["tuning"] for s in answer().to_json()["strategies"]}
    typed = {name: {**BOTH[name], "controller": {
        "gain": t["gain"], "reset": t["reset_s"], "full_travel": t["full_travel_s"]}}
        for name, t in told.items()}
    again = api.compare(untuned(strategies=typed))
    for one, other in zip(answer().strategies, again.strategies, strict=True):
        assert other.history.facts.robustness and not other.history.facts.robustness.sought
        for name, trace in one.history.traces.items():
            assert np.array_equal(trace, other.history.traces[name], equal_nan=True)


def test_the_json_holds_tuning_range_and_ms() -> None:
    for found in answer().to_json()["strategies"]:
        robust = found["robustness"]
        assert robust["sought"] is True and robust["max_sensitivity"] == 1.6
        assert (robust["gain"], robust["reset_s"]) == (found["tuning"]["gain"],
                                                      found["tuning"]["reset_s"])
        assert robust["range_low_m3_s"] < robust["worst_at_m3_s"] <= robust["range_high_m3_s"]
        assert 1.5 < robust["largest_sensitivity"] <= 1.6


def test_a_saved_history_keeps_it(tmp_path: Path) -> None:
    run = answer().strategies[0].history
    run.save(tmp_path / "damper.npz")
    assert history.load(tmp_path / "damper.npz").facts == run.facts


def test_given_gains_override_and_their_ms_stands_beside() -> None:
    given = {**SPEED, "controller": {"gain": 0.4, "reset": 8.0}}
    found = api.compare(untuned(strategies={"damper": DAMPER, "drive": given}))
    damper, drive = (s.history.facts for s in found.strategies)
    assert (drive.tuning["gain"], drive.tuning["reset_s"]) == (0.4, 8.0)
    assert drive.robustness and drive.robustness.sensitivity
    assert damper.robustness and damper.robustness.low == drive.robustness.low
    assert robustness.headline(found, "si").startswith("damper tuned to Ms 1.6 over ")
    assert not robustness.warnings(found, "si")


@pytest.mark.parametrize(("gain", "reset", "words"), [
    (6.0, 2.0, "above 2"), (40.0, 2.0, "the loop is unstable")])
def test_given_gains_without_robustness_are_warned_of_and_not_missed(
        gain: float, reset: float, words: str) -> None:
    given = {**DAMPER, "controller": {"gain": gain, "reset": reset}}
    found = api.compare(untuned(strategies={"damper": given, "drive": SPEED}, timeline=[]))
    told = robustness.warnings(found, "si")
    assert len(told) == 1 and told[0].startswith("damper: ") and words in told[0]
    assert robustness.ROBUSTNESS.text(together(found.strategies[:1], found.criteria), "si")
    assert not any(m.criterion == "max_sensitivity" for m in found.strategies[0].misses)


def test_a_strategy_that_cannot_be_tuned_is_a_miss_and_the_others_go_on() -> None:
    """A drive that stops at half speed shares no flow with the damper."""
    slow = {"speed": {**SPEED["speed"], "maximum": 0.5}}
    found = api.compare(untuned(strategies={"damper": DAMPER, "drive": slow}))
    damper, drive = found.strategies
    assert damper.measures and damper.history.facts.robustness.gains
    assert drive.measures is None and not drive.meets_criteria and not drive.stopped
    assert "has nothing in common with that of damper" in drive.verdict
    told = found.to_json()["strategies"][1]
    assert told["robustness"]["gain"] is None and "reasons" in told["robustness"]
    assert "gain" not in told["tuning"]


def test_its_report_is_written_whole(tmp_path: Path) -> None:
    slow = {"speed": {**SPEED["speed"], "maximum": 0.5}}
    found = api.compare(untuned(strategies={"drive": slow, "damper": DAMPER}))
    api.save(found, tmp_path)
    assert "could not be tuned" in (tmp_path / "report.html").read_text("utf-8")
    assert json.loads((tmp_path / "result.json").read_text("utf-8"))["strategies"]


def test_without_gains_no_automatic_run_starts_and_a_run_by_hand_does() -> None:
    with pytest.raises(RunError, match="gives no gains"):
        simulate(untuned(), "damper")
    by_hand = untuned(timeline=[{"at": 0.0, "manual_output": 0.6}])
    found = api.compare(by_hand)
    for result in found.strategies:
        assert result.history.facts.robustness is None
        assert "gain" not in result.history.facts.tuning
        assert result.history.trace("controller_output")[-1] == 0.6


def test_a_drive_is_not_wound_up_by_steps_that_it_cannot_follow() -> None:
    """Its output is held to its own rate. Without that the sought gains swing for long, and the
    verdict says why."""
    free = {**SPEED, "controller": {"full_travel": 0.1}}
    held, swings = api.compare(untuned(strategies={"drive": SPEED, "free": free})).strategies
    assert held.history.facts.tuning["gain"] == swings.history.facts.tuning["gain"]
    assert held.measures and swings.measures
    short, long = (s.measures.tracking.changes[0].settling_time_s for s in (held, swings))
    assert short and (long is None or long > 3.0 * short)
    assert "a rate limit rules the loop" in swings.verdict
    assert "rate limit" not in held.verdict


def test_a_controller_without_gains_keeps_its_other_settings() -> None:
    case = untuned({"controller": {"setpoint_weight": 0.5}})
    assert case.untuned == ("damper", "drive")
    found = equal(case, ["damper"]).case.strategies["damper"].controller
    assert found and found.setpoint_weight == 0.5 and found.tuned


def test_the_outer_loop_of_a_cascade_is_tuned_above_the_inner_gains_given() -> None:
    inner = {"holds": "speed", "controller": {"gain": 1.0, "reset": 4.0}}
    found = api.compare(untuned(strategies={"damper": DAMPER,
                                            "cascade": {**SPEED, "cascade": inner}}))
    for result in found.strategies:
        told = result.history.facts.robustness
        assert result.measures and told and told.sensitivity and told.sensitivity <= 1.6


@pytest.mark.parametrize(("control", "strategy", "words"), [
    ('tuning = "equal robustness"\ncontroller = { gain = 1, reset = "4 s" }', "",
     "tuning beside the gains of control.controller"),
    ("max_sensitivity = 1.4", 'controller = { gain = 1, reset = "4 s" }',
     "max_sensitivity where every strategy gives its gains"),
    ("max_sensitivity = 5", "", "max_sensitivity"),
    ('tuning = "by ear"', "", "equal robustness"),
    ("", 'controller = { reset = "4 s" }', "gain is missing"),
])
def test_gains_and_tuning_together_are_refused_in_a_sentence(
        tmp_path: Path, control: str, strategy: str, words: str) -> None:
    text = api.starter().split("[strategies.damper]")[0]
    text = text.replace('holds = "flow"', f'holds = "flow"\n{control}')
    rest = api.starter()[api.starter().index("[run]"):]
    file = tmp_path / "mixed.toml"
    file.write_text(f'{text}[strategies.drive]\nspeed = {{ ramp_up = "20 s", ramp_down = "30 s" }}'
                    f"\n{strategy}\n{rest}", "utf-8")
    told = CliRunner().invoke(main, ["check", str(file)])
    assert told.exit_code == 2
    assert words in " ".join(told.output.split())


def test_check_and_map_need_no_gains(tmp_path: Path) -> None:
    file = tmp_path / "new.toml"
    file.write_text(api.starter(), "utf-8")
    told = CliRunner().invoke(main, ["check", str(file)])
    assert told.exit_code == 0
    assert "seek them first" in " ".join(told.output.split())
    assert CliRunner().invoke(main, ["map", str(file), "--points", "7"]).exit_code == 0


def test_the_tunings_used_are_printed_at_the_top_and_in_their_rows(tmp_path: Path) -> None:
    file = tmp_path / "new.toml"
    file.write_text(api.starter(), "utf-8")
    told = CliRunner().invoke(main, ["compare", str(file)])
    lines = " ".join(told.output.split())
    assert told.exit_code == 0
    assert lines.index("Every strategy tuned to Ms 1.6 over") < lines.index("Which strategies")
    assert ", Ms 1." in lines[lines.index("Tuning used"):]


def test_the_placeholder_is_never_taken_for_gains() -> None:
    assert not Controller().tuned
    assert Controller(gain=1.0, reset=2.0).tuned
    with pytest.raises(ValueError, match="reset"):
        Controller(gain=1.0)
