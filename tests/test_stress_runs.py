"""Many runs: the same bits on any number of threads, kept on disk, replayed from their files."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from simfan import api
from simfan.cli import main
from simfan.errors import RunError, ScenarioError
from simfan.metrics.distance import distances
from simfan.plant.case import Case
from simfan.stress.runs import Runs
from simfan.stress.space import Space, random_points
from simfan.stress.store import NAME, Store
from tests.campaigns import INPUTS, PLANT, SCENARIO, STRATEGY


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Few runs for the sensitivities and none for ramp limits, which are not looked at here."""
    monkeypatch.setattr("simfan.stress.sensitivity.LEAST", 2)
    monkeypatch.setattr("simfan.stress.campaign.Campaign._ramp", lambda self: None)
    path = tmp_path / "stressed.toml"
    path.write_text(SCENARIO, "utf-8")
    return path


def runs(case: Case, threads: int = 1, folder: Path | None = None) -> Runs:
    space = Space(case, STRATEGY)
    return Runs(case, STRATEGY, space, Store(folder, {"scenario": "one"}), threads)


def test_threads_and_order_change_no_bit(file: Path) -> None:
    case = api.load(file)
    points = random_points(5, 0, 12, INPUTS)
    alone = runs(case)(points)
    together = runs(case, threads=3)(points[::-1])[::-1]
    assert np.array_equal(alone, together)
    assert np.unique(alone, axis=0).shape[0] == 12


def test_random_points_are_counted_by_run(file: Path) -> None:
    """So that a longer campaign begins with the runs of the shorter."""
    assert np.array_equal(random_points(5, 0, 12, INPUTS)[4:], random_points(5, 4, 8, INPUTS))


def test_a_run_of_the_space_is_the_plain_run_of_its_case(file: Path) -> None:
    case = api.load(file)
    many = runs(case)
    for point in random_points(11, 0, 3, INPUTS):
        one = many.space.case_of(many.space.values(point))
        history = api.run(one, STRATEGY)
        assert np.array_equal(many(point[None])[0], distances(history, case.criteria))


def test_what_was_run_is_found_again_and_not_run_again(file: Path, tmp_path: Path) -> None:
    case, points = api.load(file), random_points(5, 0, 6, INPUTS)
    first = runs(case, folder=tmp_path / "kept")
    found = first(points)
    first.store.close()
    again = runs(case, folder=tmp_path / "kept")
    assert np.array_equal(again(points), found)
    assert again.made == 0
    assert (tmp_path / "kept" / NAME).exists()


def test_the_written_counterexample_replays_bit_for_bit(file: Path, tmp_path: Path) -> None:
    answer = api.stress(api.load(file), STRATEGY, runs=40, out=tmp_path / "out")
    broken = [v for v in answer.verdicts if v.counterexample]
    assert broken
    for verdict in broken:
        assert verdict.history is not None and verdict.counterexample is not None
        replayed = api.load(verdict.counterexample)
        again = api.run(replayed, STRATEGY)
        for name, trace in verdict.history.traces.items():
            assert np.array_equal(again.traces[name], trace, equal_nan=True), name
        place = [r.requirement.name for r in answer.verdicts].index(verdict.requirement.name)
        assert distances(again, replayed.criteria)[place] == verdict.worst.distance


def test_the_same_call_goes_on_from_a_shorter_one(file: Path, tmp_path: Path) -> None:
    case = api.load(file)
    short = api.stress(case, STRATEGY, runs=16, out=tmp_path / "out")
    longer = api.stress(case, STRATEGY, runs=24, out=tmp_path / "out")
    fresh = api.stress(case, STRATEGY, runs=24)
    assert short.runs <= longer.runs
    for one, other in zip(longer.verdicts, fresh.verdicts, strict=True):
        assert (one.failures, one.fresh) == (other.failures, other.fresh)


@pytest.mark.parametrize(("old", "new", "said"), [
    ("process.design.pressure", "process.design.presure", "process.design.presure"),
    ('plus_minus = "10 %"', 'plus_minus = "10 Pa"', "Pa"),
    ('from = ["3 m3/s", "5 m3/s"]', 'from = ["5 m3/s", "3 m3/s"]', "the lower first"),
])
def test_a_mistake_in_the_space_is_a_sentence_with_its_line(file: Path, old: str, new: str,
                                                            said: str) -> None:
    file.write_text(SCENARIO.replace(old, new), "utf-8")
    with pytest.raises(ScenarioError) as error:
        api.load(file)
    (problem,) = error.value.problems
    assert problem.line
    assert said in str(error.value)


def test_mistakes_in_the_space_stand_beside_all_others(file: Path) -> None:
    """Wrong paths and moves, together with a wrong unit elsewhere; what leads into a section that
    is wrong itself is not told, for nothing is known of it."""
    vary = """vary = [
    { of = "process.design.presure", plus_minus = "10 %" },
    { of = "strategies.dampr.outlet_damper.area", plus_minus = "10 %" },
    { of = "fan.shaft_powr", plus_minus = "10 %" },
    { of = "process.design.pressure", uniform = ["3 kPa", "2 kPa"] },
    { of = "timeline#9.setpoint", plus_minus = "10 %" },
]"""
    text = SCENARIO.replace('density = "1.2 kg/m3"', 'density = "1.2 kg"')
    text = text.replace('vary = [{ of = "process.design.pressure", plus_minus = "10 %" }]', vary)
    file.write_text(text.replace('at = "20 s"\n', 'at = "200 s"\n'), "utf-8")
    with pytest.raises(ScenarioError) as error:
        api.load(file)
    assert [problem.key for problem in error.value.problems] == [
        "fan.rated.density", "stress.vary#1.of", "stress.vary#2.of", "stress.vary#4.uniform",
        "stress.vary#5.of", "stress.moves.at"]
    assert all(problem.line for problem in error.value.problems)
    assert "did you mean pressure?" in str(error.value) and "damper, variable-speed" in str(
        error.value)


def test_a_nominal_run_that_is_not_the_scenario_is_told(tmp_path: Path) -> None:
    """Its pressure of 2 kPa beside its spread, and a stroke without a time of its own."""
    path = tmp_path / "beside.toml"
    path.write_text(SCENARIO.replace(
        'vary = [{ of = "process.design.pressure", plus_minus = "10 %" }]', """vary = [
    { of = "process.design.pressure", uniform = ["2.5 kPa", "3 kPa"] },
    { of = "strategies.damper.outlet_damper.stroke_time_closing", uniform = ["10 s", "30 s"] },
]"""), "utf-8")
    space = Space(api.load(path), STRATEGY)
    beside, without = space.off_nominal
    assert beside == ("process.design.pressure stands at 2000 Pa, which is not within its spread: "
                      "the nominal run, from which changes are counted, has 2500 Pa")
    assert without == ("strategies.damper.outlet_damper.stroke_time_closing has no value in the "
                       "scenario as it stands: the nominal run has 20 s, from the middle of its "
                       "spread")
    assert space.values(space.nominal)[:2] == (2500.0, 20.0)
    path.write_text(SCENARIO, "utf-8")
    assert not list(Space(api.load(path), STRATEGY).off_nominal)


@pytest.mark.parametrize(("what", "number"), [("runs", -3), ("threads", 0), ("seed", -1),
                                              ("seconds", 0.0)])
def test_numbers_that_make_no_campaign_are_refused(file: Path, what: str, number: float) -> None:
    with pytest.raises(RunError, match=rf"{what}: got {number}, allowed: "):
        api.stress(api.load(file), STRATEGY, **{what: number})  # type: ignore[arg-type]


def test_without_a_space_the_command_says_so(tmp_path: Path) -> None:
    path = tmp_path / "plain.toml"
    path.write_text(PLANT, "utf-8")
    done = CliRunner().invoke(main, ["stress", str(path), "--strategy", STRATEGY])
    assert done.exit_code != 0
    assert "[stress]" in done.stderr
    assert "Traceback" not in done.output
