"""Loops over a range: margins hold in the plant that runs, tunings keep what they promise."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from simfan import api
from simfan.cli import main
from simfan.loops.over_range import Loop
from simfan.plant.case import Case
from simfan.plant.control import Controller

SCENARIOS = Path(__file__).parents[1] / "scenarios"
KILN = api.load(SCENARIOS / "kiln-air.toml")


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


def test_the_json_has_every_form_of_every_tuning() -> None:
    got = CliRunner().invoke(main, ["tune", str(SCENARIOS / "dryer-us.toml"), "--json", "--quiet"])
    assert got.exit_code == 0, got.output
    answer = json.loads(got.stdout)
    assert answer["target_sensitivity"] == 1.6
    for strategy in answer["strategies"]:
        loop = strategy["loops"][0]
        assert [t["rule"] for t in loop["tunings"]] == ["as given", "robust"]
        robust = loop["tunings"][1]
        assert robust["largest_sensitivity"] <= 1.6
        standard = robust["standard"]
        assert robust["parallel"]["integral_gain_per_s"] == pytest.approx(
            standard["gain"] / standard["reset_s"])
        assert robust["repeats_per_min"] == pytest.approx(60.0 / standard["reset_s"])
        assert len(loop["range"]) >= 20


@pytest.mark.parametrize(("arguments", "said"), [
    (["--from", "5"], "the unit is missing"),
    (["--from", "40 m3/s", "--to", "30 m3/s"], "no range is common"),
    (["--from", "60 m3/s", "--to", "70 m3/s"], "does not reach"),
    (["--strategy", "inlet-vane"], "did you mean inlet-vanes"),
    (["--max-sensitivity", "1"], "not in the range"),
])
def test_what_cannot_be_tuned_is_told_in_a_sentence(arguments: list[str], said: str) -> None:
    got = CliRunner().invoke(main, ["tune", str(SCENARIOS / "kiln-air.toml"), *arguments,
                                    "--quiet"])
    assert got.exit_code == 2
    assert said in " ".join(got.output.split())
    assert "Traceback" not in got.output


def test_the_text_fits_eighty_columns() -> None:
    got = CliRunner(env={"COLUMNS": "80"}).invoke(
        main, ["tune", str(SCENARIOS / "kiln-air.toml"), "--strategy", "inlet-vanes", "--quiet"])
    assert got.exit_code == 0
    assert max(map(len, got.stdout.splitlines())) <= 80
