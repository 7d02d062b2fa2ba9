"""Loops over a range: margins hold in the plant that runs, tunings keep what they promise."""

import json
from io import BytesIO, StringIO, TextIOWrapper
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from rich.console import Console

from simfan import api
from simfan.cli import main
from simfan.loops.over_range import Loop
from simfan.plant.case import Case
from simfan.plant.control import Controller
from simfan.report import page, terminal, tune_page
from simfan.tuned import to_json
from tests import plants

SCENARIOS = Path(__file__).parents[1] / "scenarios"
SOUGHT = api.load(SCENARIOS / "kiln-air.toml")
"""Without gains."""
KILN = plants.typed(SOUGHT)


def swing(case: Case, name: str, held: float, gain: float, reset: float) -> float:
    """Growth of the reading's swing about a setpoint after a nudge of 0.01 %: late over early."""
    controller = Controller(gain=gain, reset=reset)
    strategy = case.strategies[name].model_copy(update={"controller": controller})
    run = case.run.model_copy(update={"duration": 80.0, "starts_at": held, "record": None,
                                      "step": None})
    nudge = case.timeline[0].model_copy(update={"at": 5.0, "setpoint": held * 1.0001, "over": 0.0})
    history = api.run(case.model_copy(update={
        "strategies": {name: strategy}, "run": run, "timeline": (nudge,)}), name)
    t, y = history.time, history.traces["true_value"][:, 0] - held * 1.0001
    early, late = (np.ptp(y[(t > a) & (t <= a + 15.0)]) for a in (10.0, 60.0))
    return float(late / early)


@pytest.mark.parametrize("name", ["damper-at-fan", "inlet-vanes"])
def test_the_gain_margin_is_where_the_running_plant_begins_to_swing(name: str) -> None:
    held = 33.0
    loop = Loop(KILN, name, held, held + 1e-6, n=1)
    tuning = loop.pid(2.0, 1.5)
    margin = loop.margins(tuning)[0].gain_margin
    assert margin is not None
    assert swing(KILN, name, held, 2.0 * margin * 0.93, 1.5) < 0.5
    assert swing(KILN, name, held, 2.0 * margin * 1.07, 1.5) > 2.0


@pytest.mark.parametrize("name", list(KILN.strategies))
def test_the_robust_tuning_keeps_its_ms_between_the_points_too(name: str) -> None:
    """Printed to three digits, judged as typed in. The gain runs smoothly between the points, save
    where a sequence table turns a corner: 2 % of Ms is left for that."""
    tuning = Loop(KILN, name, 32.0, 45.0, n=13).robust(1.6)
    between = Loop(KILN, name, 32.0, 45.0, n=38)
    found = between.margins(tuning)
    assert all(m.stable for m in found)
    assert max(m.sensitivity for m in found) < 1.6 * 1.02


def test_more_robustness_is_paid_for_with_a_slower_load_rejection() -> None:
    loop = Loop(KILN, "inlet-vanes", 32.0, 45.0, n=9)
    slower, faster = loop.robust(1.3), loop.robust(2.0)
    assert slower.reset / abs(slower.gain) > faster.reset / abs(faster.gain)


def test_a_point_in_surge_is_told_and_the_rest_is_tuned() -> None:
    answer = api.tune(KILN, ["damper-at-kiln"], low=20.0, high=40.0)
    found = answer.strategies[0]
    assert any("unstable with its elements standing still" in said for said in found.findings)
    assert [p.stable for p in found.points] == sorted((p.stable for p in found.points),
                                                      reverse=True)
    assert found.tunings[-1].sensitivity is not None
    assert found.tunings[-1].unstable_at


def test_the_process_gain_is_that_of_the_operating_map() -> None:
    loop = Loop(KILN, "inlet-vanes", 32.0, 45.0, n=5)
    low, high = 0.0, api.tune(KILN, ["inlet-vanes"], low=32.0, high=45.0).span[1]
    for p in loop.processes:
        step = 1e-3
        ends = [api.point_for(KILN, "inlet-vanes", p.held + side * step) for side in (-1.0, 1.0)]
        outputs = [e.output for e in ends if not isinstance(e, str)]
        slope = 2.0 * step / (outputs[1] - outputs[0]) / (high - low)
        assert p.gain == pytest.approx(slope, rel=2e-3)


@pytest.fixture(scope="module")
def dryer() -> dict:
    """The answer for the dryer as JSON, with a rule that has a derivative."""
    got = CliRunner().invoke(main, ["tune", str(SCENARIOS / "dryer-us.toml"), "--json", "--quiet",
                                    "--rule", "amigo pid"])
    assert got.exit_code == 0, got.output
    return json.loads(got.stdout)


def test_the_json_has_every_form_of_every_tuning(dryer: dict) -> None:
    assert dryer["target_sensitivity"] == 1.6
    for strategy in dryer["strategies"]:
        assert strategy["structure"] == "one loop"
        loop = strategy["loops"][0]
        assert [t["rule"] for t in loop["tunings"]] == ["as given", "robust", "AMIGO PID"]
        assert loop["tunings"][1]["largest_sensitivity"] <= 1.6
        for tuning in loop["tunings"]:
            standard = tuning["standard"]
            assert tuning["parallel"]["integral_gain_per_s"] == pytest.approx(
                standard["gain"] / standard["reset_s"])
            assert tuning["parallel"]["derivative_gain_s"] == pytest.approx(
                standard["gain"] * standard["derivative_s"])
            assert tuning["repeats_per_min"] == pytest.approx(60.0 / standard["reset_s"])
            assert tuning["proportional_band_percent"] == pytest.approx(100.0 / standard["gain"])
            assert tuning["load_rejection_s"] == pytest.approx(
                standard["reset_s"] / standard["gain"])
            if tuning["series"] is None:
                assert "four times the derivative time" in tuning["reasons"]["series"]
            else:
                series = tuning["series"]
                assert series["gain"] * (1.0 + series["derivative_s"] / series["reset_s"]
                                         ) == pytest.approx(standard["gain"])
        assert len(loop["range"]) >= 20


def test_a_loop_in_the_json_carries_the_numbers_of_its_recommended_tuning(dryer: dict) -> None:
    for strategy in dryer["strategies"]:
        loop = strategy["loops"][0]
        robust = loop["tunings"][1]
        assert loop["tag"] == "FIC-1"
        assert loop["rule"] == "robust"
        for name in ("standard", "parallel", "series", "largest_sensitivity", "gain_margin",
                     "phase_margin_deg", "largest_extra_dead_time_s"):
            assert loop[name] == robust[name]
        assert loop["spans"]["output_percent"] == [0.0, 100.0]
        assert loop["spans"]["measurement_m3s"][0] == 0.0
        worst = max(p["sensitivity"] for p in loop["range"])
        assert worst == pytest.approx(loop["largest_sensitivity"])
        for point in loop["range"]:
            assert {"flow_m3s", "gain_percent_per_percent", "lag_s", "dead_time_s"} <= point.keys()
            assert point["sensitivity"] == point["sensitivity_by_tuning"]["robust"]


def nulls(found: object, path: str = "") -> list[str]:
    """Paths of every null without a reason beside it."""
    if isinstance(found, dict):
        bare = [f"{path}.{k}" for k, v in found.items()
                if v is None and k not in found.get("reasons", {})]
        return bare + [p for k, v in found.items() for p in nulls(v, f"{path}.{k}")]
    if isinstance(found, list):
        return [p for k, v in enumerate(found) for p in nulls(v, f"{path}[{k}]")]
    return []


def test_every_null_of_the_json_has_its_reason(dryer: dict) -> None:
    assert nulls(dryer) == []


def test_gains_that_are_not_given_have_no_row_as_given() -> None:
    assert [t.name for t in api.tune(SOUGHT, ["inlet-vanes"]).strategies[0].tunings] == ["robust"]


def test_without_a_point_that_is_stable_the_answer_is_sentences_not_a_crash() -> None:
    answer = api.tune(SOUGHT, ["damper-at-kiln"], low=16.0, high=20.0, rules=["all"], runs=True,
                      curves=True)
    told = to_json(answer)
    assert nulls(told) == []
    loop = told["strategies"][0]["loops"][0]
    assert len(loop["rules_not_applied"]) == 12
    assert loop["tunings"] == []
    assert loop["standard"] is None
    assert any("no tuning was sought" in said for said in told["strategies"][0]["findings"])
    page.print_on(Console(width=80, file=StringIO()), answer, "si", tune_page.TUNE)


@pytest.mark.parametrize(("arguments", "said"), [
    (["--from", "5"], "the unit is missing"),
    (["--from", "40 m3/s", "--to", "30 m3/s"], "no range is common"),
    (["--from", "60 m3/s", "--to", "70 m3/s"], "does not reach"),
    (["--strategy", "inlet-vane"], "did you mean inlet-vanes"),
    (["--max-sensitivity", "1"], "not in the range"),
    (["--rule", "amigo pj"], 'There are: SIMC PI'),
    (["--rule", "cohen con"], 'did you mean "Cohen–Coon PI"?'),
    (["--strategy", "inlet-vanes", "--write", "no-such-folder/new.toml"], "nothing can be written"),
])
def test_what_cannot_be_tuned_is_told_in_a_sentence(arguments: list[str], said: str) -> None:
    got = CliRunner().invoke(main, ["tune", str(SCENARIOS / "kiln-air.toml"), *arguments,
                                    "--quiet"])
    assert got.exit_code == 2
    assert said in " ".join(got.output.split())
    assert "Traceback" not in got.output


@pytest.mark.parametrize("rules", [[], ["ziegler-nichols ultimate", "simc pi"]])
def test_the_text_fits_its_columns(rules: list[str]) -> None:
    answer = api.tune(KILN, ["inlet-vanes", "vanes-then-speed"], rules=rules, runs=True, ways=True)
    for width in (80, 120):
        paper = StringIO()
        page.print_on(terminal.console(paper, width=width), answer, "us", tune_page.TUNE)
        assert max(map(len, paper.getvalue().splitlines())) <= width
        assert "…" not in paper.getvalue()


def test_in_plain_letters_nothing_is_lost() -> None:
    answer = api.tune(KILN, ["inlet-vanes"], rules=["all"])
    raw = BytesIO()
    paper = TextIOWrapper(raw, encoding="ascii")
    page.print_on(terminal.console(paper, width=100), answer, "si", tune_page.TUNE)
    paper.flush()
    assert b"?" not in raw.getvalue()


def test_quiet_is_one_line_for_each_strategy() -> None:
    got = CliRunner().invoke(main, ["tune", str(SCENARIOS / "ten-lines.toml"), "--quiet"])
    assert got.exit_code == 0, got.output
    lines = [line for line in got.stdout.splitlines() if line.strip()]
    assert len(lines) == 3
    assert "robust, gain" in lines[1]
