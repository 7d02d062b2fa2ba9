"""A whole campaign on a real plant: its budget, its samples, its statements, what they stand on."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from simfan import api
from simfan.cli import main
from simfan.errors import RunError
from simfan.metrics import judge, misses
from simfan.plant.case import Case
from simfan.plant.controller import Controller
from simfan.stress import budget
from simfan.stress.confidence import failure_bound, statement
from simfan.stress.space import Space, grid_levels, grid_points, random_points, sobol_points
from simfan.stress_answer import StressAnswer, stands_for
from simfan.stressed import Stressed
from tests.campaigns import MOVES, PLANT, STRATEGY

STRESS = """
[criteria]
overshoot = "10 %"
settling_time = "45 s"
stall_margin = "5 %"
motor_load = "75 %"
[stress]
runs = 60
seed = 3
vary = [
    { of = "process.design.pressure", plus_minus = "10 %" },
    { of = "air.temperature", uniform = ["0 degC", "30 degC"] },
]
""" + MOVES


def case_of(folder: Path, text: str = STRESS) -> Case:
    path = folder / "stressed.toml"
    path.write_text(PLANT + text, "utf-8")
    return api.load(path)


@pytest.fixture(scope="module")
def answer(tmp_path_factory: pytest.TempPathFactory) -> StressAnswer:
    return api.stress(case_of(tmp_path_factory.mktemp("campaign")), STRATEGY)


class TestTheBudget:
    @pytest.mark.parametrize("runs", [10, 37, 60, 300, 5000])
    @pytest.mark.parametrize("over", [None, (0.25, 60.0)])
    def test_its_parts_fit_into_what_is_told(self, runs: int, over: tuple[float, float] | None
                                             ) -> None:
        plan = budget.plan(runs, 5, "random", over)
        assert plan.laid + plan.searched == runs and plan.most == 4 * runs
        parts = plan.changes + plan.tolerances + plan.ramps + plan.sensitivity
        assert parts <= plan.on_top == 3 * runs
        assert (plan.sensitivity == 0) == bool(plan.why_no_sensitivity)
        assert bool(plan.why_no_ramps) == (over is not None and not plan.setpoints)
        assert f"{runs} runs: {plan.laid} at random, {plan.searched} searched" in plan.words(
            "random")

    def test_what_would_do_does_and_ten_less_does_not(self) -> None:
        plan = budget.plan(20, 7, "random", (0.25, 60.0))
        assert plan.why_no_ramps and plan.why_no_sensitivity
        assert "at least 288 runs" in plan.why_no_sensitivity  # 32·(7 + 2)
        for why, part in ((plan.why_no_ramps, "setpoints"), (plan.why_no_sensitivity,
                                                             "sensitivity")):
            enough = int(why.rsplit("; ", 1)[1].split(" ")[0])
            assert getattr(budget.plan(enough, 7, "random", (0.25, 60.0)), part)
            assert not getattr(budget.plan(enough - 10, 7, "random", (0.25, 60.0)), part)

    def test_a_campaign_stays_within_it(self, answer: StressAnswer) -> None:
        assert len(answer.fresh.points) == 30 and len(answer.searched.points) <= 30
        assert answer.runs + answer.tolerance_runs <= 4 * 60 + 1  # and the nominal run
        assert "60 runs: 30 at random, 30 searched; and at most 180 on top" in answer.budget

    def test_it_is_told_before_it_starts(self, tmp_path: Path) -> None:
        case_of(tmp_path, STRESS.replace("over = [\"0 s\", \"20 s\"]\n", ""))
        done = CliRunner().invoke(main, ["stress", str(tmp_path / "stressed.toml"), "--strategy",
                                         STRATEGY, "--runs", "10", "--seconds", "1"])
        assert "10 runs: 5 at random, 5 searched; and at most 30 on top" in done.stderr
        assert done.exit_code == 0

    @pytest.mark.parametrize("runs", [0, -5])
    def test_no_runs_are_no_default(self, tmp_path: Path, runs: int) -> None:
        case = case_of(tmp_path)
        for ask in (api.stress, api.stress_budget):
            with pytest.raises(RunError, match=f"runs: got {runs}, allowed: 1 or more"):
                ask(case, STRATEGY, runs=runs)

    def test_threads_beside_a_scheduler_are_not_silently_left_out(self, tmp_path: Path) -> None:
        """Refused before anybody is asked: nobody is at that address."""
        case_of(tmp_path)
        done = CliRunner().invoke(main, [
            "stress", str(tmp_path / "stressed.toml"), "--strategy", STRATEGY, "--threads", "4",
            "--scheduler", "tcp://192.0.2.1:1"])
        assert done.exit_code == 2
        assert "threads: got 4 with a scheduler" in " ".join(done.stderr.split())


class TestFreshRuns:
    def test_the_statement_counts_the_fresh_runs_and_no_other(self, answer: StressAnswer) -> None:
        """Those drawn by seed and number, whatever was searched since: none of the searched or
        bisected runs, which crowd where it breaks, is among them."""
        fresh = random_points(3, 0, 30, len(answer.inputs))
        assert np.array_equal(answer.fresh.points, fresh)
        broken = 0
        for k, verdict in enumerate(answer.verdicts):
            failures = int(np.count_nonzero(answer.fresh.distances[:, k] < 0.0))
            assert (verdict.failures, verdict.fresh) == (failures, 30)
            assert verdict.failure_bound == failure_bound(failures, 30)
            broken = max(broken, verdict.worst.failures - failures)
        assert broken > 0, "no searched run broke anything: the test would compare nothing"

    def test_no_searched_run_is_a_fresh_one(self, answer: StressAnswer) -> None:
        fresh = {p.tobytes() for p in answer.fresh.points}
        assert not fresh & {p.tobytes() for p in answer.searched.points}

    def test_all_requirements_together_are_never_surer_than_one(self, answer: StressAnswer
                                                                ) -> None:
        assert answer.joint is not None and answer.joint.bound is not None
        failed = np.count_nonzero((answer.fresh.distances < 0.0).any(axis=1))
        assert answer.joint.failures == failed
        for verdict in answer.verdicts:
            assert verdict.failure_bound is not None
            assert answer.joint.bound >= verdict.failure_bound

    def test_tuned_gains_are_judged_on_runs_drawn_without_them(self, tmp_path: Path) -> None:
        """Gains that are sought know nothing of the sample: it is that of given gains."""
        text = PLANT.replace("controller = { gain = 0.8, reset = \"4 s\" }", "")
        assert text != PLANT
        path = tmp_path / "sought.toml"
        path.write_text(text.replace("control = { scan = \"250 ms\",  }",
                                     "control = { scan = \"250 ms\" }").replace(", }", " }")
                        + STRESS, "utf-8")
        found = api.stress(api.load(path), STRATEGY, runs=12)
        assert np.array_equal(found.fresh.points, random_points(3, 0, 6, 5))


class TestStatements:
    """As a statistician reads them; numbers in tests/published."""

    @pytest.mark.parametrize(("failures", "runs", "said"), [
        (0, 59, "59 runs, none failed: with 95 % confidence at least 95 % of this space passes"),
        (0, 58, "58 runs, none failed: with 95 % confidence at least 94 % of this space passes"),
        (0, 299, "299 runs, none failed: with 95 % confidence at least 99 % of this space passes"),
        (1, 93, "93 runs, 1 failed: with 95 % confidence at least 95 % of this space passes"),
        (0, 1, "1 run, it did not fail: with 95 % confidence at least 5 % of this space passes"),
        (1, 1, "1 run, it failed: with 95 % confidence at most 95 % of this space passes"),
        (59, 59, "59 runs, all failed: with 95 % confidence at most 5 % of this space passes"),
        (3, 30, "30 runs, 3 failed: with 95 % confidence at least 76 % of this space passes")])
    def test_words(self, failures: int, runs: int, said: str) -> None:
        """59 and 93 are Wilks' (1941) numbers of order 1 and 2 at 95/95, 299 at 99/95. 3 of 30 by
        the binomial sum: Σ C(30, i) p^i (1 − p)^(30 − i) over i ≤ 3 is .05 at p = .2386."""
        assert statement(failures, runs) == said

    def test_never_safe(self, answer: StressAnswer) -> None:
        assert "safe" not in json.dumps(Stressed(answer).to_json()).replace("max_safe", "")

    def test_fewer_than_59_runs_say_what_they_cannot_show(self, answer: StressAnswer) -> None:
        assert "Fewer than 59 runs cannot show 95 %" in answer.confidence_note


class TestSampling:
    def test_a_grid_has_all_corners_and_its_own_number(self) -> None:
        points = grid_points(3, 2)
        assert len(np.unique(points, axis=0)) == 9
        assert {(0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)} <= set(map(tuple, points))
        assert [grid_levels(n, 2) for n in (3, 4, 8, 9, 15, 16)] == [1, 2, 2, 3, 3, 4]

    def test_an_even_sample_is_evener_than_a_random_one(self) -> None:
        """Each half, quarter and eighth of each input has its share: a net in base 2, from
        memory. Random points miss it."""
        even, odd = sobol_points(4, 64, 3), random_points(4, 0, 64, 3)
        counts = [[np.histogram(x[:, k], 8, (0.0, 1.0))[0] for k in range(3)] for x in (even, odd)]
        assert (np.array(counts[0]) == 8).all() and not (np.array(counts[1]) == 8).all()

    @pytest.mark.parametrize(("how", "laid", "said"), [
        ("sobol", 16, "no bound follows"), ("grid", 16, "neither a share of it nor a bound")])
    def test_only_random_runs_make_a_statement(self, tmp_path: Path, how: str, laid: int, said: str
                                               ) -> None:
        text = STRESS.replace("seed = 3", f'seed = 3\nsampling = "{how}"').replace(
            'over = ["0 s", "20 s"]\n', "")
        found = api.stress(case_of(tmp_path, text), STRATEGY, runs=32)
        assert len(found.fresh.points) == laid and found.sampling == how
        told = Stressed(found).to_json()
        for verdict, one in zip(found.verdicts, told["requirements"], strict=True):
            assert verdict.failure_bound is None and said in verdict.statement
            assert one["failure_bound_percent"] is None
            assert "not drawn at random" in one["reasons"]["failure_bound_percent"]
            assert "confidence at least" not in verdict.statement

    def test_a_grid_that_does_not_fit_is_refused_with_what_would_do(self, tmp_path: Path) -> None:
        text = STRESS.replace("seed = 3", 'seed = 3\nsampling = "grid"')
        case = case_of(tmp_path, text)
        with pytest.raises(RunError, match=r"5 inputs make at least 32 runs.*give 64 runs"):
            api.stress(case, STRATEGY)


class TestTheSearch:
    def test_its_worst_is_never_better_than_that_of_the_random_sample(self, answer: StressAnswer
                                                                      ) -> None:
        """It sets out from that sample; and for what has a slope it goes on from there."""
        sampled, every = answer.fresh.distances.min(axis=0), answer.searched.distances.min(axis=0)
        worst = np.array([v.worst.distance for v in answer.verdicts])
        assert (worst <= sampled).all() and (worst <= every).all()
        assert (every < sampled - 1e-3).any()


class TestTuningAndActuators:
    def test_the_gain_that_holds_holds_and_the_one_that_breaks_breaks(self, answer: StressAnswer,
                                                                      tmp_path: Path) -> None:
        """Each as a run of its own, judged as `simfan run` judges it."""
        case = case_of(tmp_path)
        space = Space(case, STRATEGY)
        nominal = space.case_of(space.values(space.nominal))
        found = [t for t in answer.tolerances
                 if t.input.name == "control.controller.gain" and t.breaks is not None]
        assert found, "no gain breaks anything: nothing is compared"
        for one in found:
            assert one.requirement is not None and one.breaks is not None
            assert (one.holds > one.nominal) == (one.side == "up")
            name = answer.verdicts[one.requirement].requirement.name
            for gain, broken in ((one.holds, False), (one.breaks, True)):
                tuned = nominal.control.model_copy(
                    update={"controller": Controller(gain=gain, reset=4.0)})
                history = api.run(nominal.model_copy(update={"control": tuned}), STRATEGY)
                missed = {m.criterion for m in
                          misses(judge(history, case.criteria), case.criteria, history.facts)}
                assert (name in missed) == broken

    def test_strokes_go_only_slower(self, answer: StressAnswer) -> None:
        strokes = [t for t in answer.tolerances if "stroke" in t.input.name]
        assert [t.side for t in strokes] == ["up"] and strokes[0].factor >= 1.0


class TestRampsOverPlants:
    def test_both_maps_stand_in_the_answer_and_the_json(self, answer: StressAnswer) -> None:
        given, over = answer.ramps, answer.ramps_over
        assert given is not None and over is not None and given.plants == 0 and over.plants >= 3
        told = Stressed(answer).to_json()
        assert told["ramp_limits"]["stands_for"] == "for the plant as given"
        assert told["ramp_limits_over_plants"]["stands_for"] == stands_for(over) == (
            f"for {over.plants} plants of the space, the worst of them")
        off = ~np.eye(len(given.setpoints), dtype=bool)
        assert (over.fastest[off] >= given.fastest[off]).all()

    def test_up_and_down_are_told_apart(self, answer: StressAnswer) -> None:
        assert answer.ramps is not None
        told = Stressed(answer).to_json()["ramp_limits"]["map"]
        ways = {(m["from_m3s"], m["to_m3s"]) for m in told}
        assert all((b, a) in ways for a, b in ways) and len(ways) == len(told)
