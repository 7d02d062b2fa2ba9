"""Settling that the transmitter's noise decides is told, not missed; a loop that swings is missed.

What is judged is the true value, which the controller moves as it answers the noise. Expected
numbers: Monte Carlo of the square root, runs without noise, Clopper and Pearson by SciPy.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binomtest

from simfan import api
from simfan.compare import judged
from simfan.history import History
from simfan.metrics.calmed import of_the_loop
from simfan.metrics.distance import distances, requirements
from simfan.metrics.noise import TIMES, least_move, reading_noise
from simfan.plant.case import Case
from simfan.plant.control import Controller
from simfan.stress.confidence import statement
from simfan.stress.noise import told
from simfan.stress.runs import Runs
from simfan.stress.space import Space
from simfan.stress.store import Store
from tests.campaigns import MOVES, PLANT
from tests.test_limit_cycle import SHORT, VANES, worn

STRATEGY = "variable-speed"
BAND, NOISE, SMALL, LARGE = 0.03, 0.003, 0.2, 1.3
LIMITS = '[criteria]\nband = "3 %"\nsettling_time = "60 s"\n[stress]\n'


def plant(tmp_path: Path) -> Case:
    path = tmp_path / "noisy.toml"
    path.write_text(PLANT + LIMITS + MOVES, "utf-8")
    return api.load(path)


def noisy(case: Case, noise: float = NOISE, controller: Controller | None = None) -> Case:
    """The case with this noise in front of a square root."""
    device = case.control.transmitter.model_copy(update={
        "noise": noise, "square_root": True, "lag": 0.5})
    return case.model_copy(update={"control": case.control.model_copy(update={
        "transmitter": device, "controller": controller or case.control.controller})})


def moved(case: Case, by: float) -> History:
    """One step down from 4.5 m³/s at 20 s."""
    step = case.timeline[0].model_copy(update={"at": 20.0, "setpoint": 4.5 - by})
    return api.run(case.model_copy(update={"timeline": (step,)}), STRATEGY)


def test_a_small_move_in_noise_is_not_judged_and_misses_nothing(tmp_path: Path) -> None:
    case = plant(tmp_path)
    found = judged(moved(noisy(case), SMALL), case.criteria)
    calm = judged(moved(noisy(case, 0.0), SMALL), case.criteria)
    assert found.measures and calm.measures
    change, quiet = found.measures.tracking.changes[0], calm.measures.tracking.changes[0]
    assert quiet.settling_time_s is not None and quiet.settling_time_s < 60.0
    assert change.settling_time_s is None and change.overshoot_percent is None
    assert found.misses == () and found.meets_criteria
    assert "not judged: overshoot and settling of 1 of 1 setpoint changes" in found.verdict
    late = found.history.time >= 60.0
    sigma = np.std((found.history.trace("true_value") - calm.history.trace("true_value"))[late])
    assert TIMES * sigma > BAND * SMALL
    assert f"moves the value by {sigma:.3g} m3/s" in change.reasons["settling_time_s"]
    assert f"a move below {TIMES * sigma / BAND:.2g} m3/s" in found.verdict


def test_what_settles_in_spite_of_its_noise_is_judged(tmp_path: Path) -> None:
    """A tenth of the noise: the band of the large move is wide enough."""
    case = plant(tmp_path)
    found = judged(moved(noisy(case, 0.1 * NOISE), LARGE), case.criteria)
    assert found.measures and found.measures.tracking.noise == ""
    assert found.measures.tracking.changes[0].settling_time_s is not None


def test_a_loop_that_makes_more_of_the_noise_than_it_reads_is_missed(tmp_path: Path) -> None:
    """As one near its limit of stability does; without noise it settles at once."""
    case = noisy(plant(tmp_path), controller=Controller(gain=6.0, reset=2.0))
    history = moved(case, SMALL)
    assert history.without_noise is not None
    assert judged(history.without_noise(), case.criteria).meets_criteria
    late = history.time > 60.0
    assert np.std(history.trace("true_value")[late]) > reading_noise(history.facts, 4.3)
    assert [m.criterion for m in judged(history, case.criteria).misses] == ["settling_time"]


def test_an_unstable_loop_is_missed(tmp_path: Path) -> None:
    case = noisy(plant(tmp_path), controller=Controller(gain=20.0, reset=0.5))
    assert [m.criterion for m in judged(moved(case, SMALL), case.criteria).misses] == [
        "settling_time"]


@pytest.mark.parametrize("noise", [1e-4, 1e-3])
def test_a_limit_cycle_of_stick_is_missed_in_noise_as_without(noise: float) -> None:
    """The run without noise swings, too, so noise is not what decides."""
    case = worn(VANES, SHORT, resolution=0.02)
    criteria = case.criteria.model_copy(update={"settling_time": 60.0, "band": 0.03})
    step = case.timeline[0].model_copy(update={"at": 5.0, "setpoint": 41.0, "over": 0.0})
    run = case.run.model_copy(update={"duration": 200.0, "starts_at": 40.0})
    for with_noise in (0.0, noise):
        device = case.control.transmitter.model_copy(update={"noise": with_noise})
        made = case.model_copy(update={
            "timeline": (step,), "run": run,
            "control": case.control.model_copy(update={"transmitter": device})})
        found = judged(api.run(made, VANES), criteria)
        assert "settling_time" in [m.criterion for m in found.misses]


def test_the_noise_of_a_reading_behind_a_square_root_is_that_of_monte_carlo(tmp_path: Path) -> None:
    """q = span·√(x² + n), n normal."""
    facts = moved(noisy(plant(tmp_path)), SMALL).facts
    span = float(facts.tuning["span_high"])
    normal = NOISE * np.random.default_rng(1).standard_normal(200_000)
    for value in (2.5, 4.5):
        readings = span * np.sqrt((value / span) ** 2 + normal)
        assert reading_noise(facts, value) == pytest.approx(np.std(readings), rel=0.01)


def test_the_search_breaks_nothing_by_noise_alone_and_tells_it(tmp_path: Path) -> None:
    """A move of 0.2 m³/s at once, in a search and alone."""
    case = noisy(plant(tmp_path))
    folder = tmp_path / "kept"
    runs = Runs(case, STRATEGY, Space(case, STRATEGY), Store(folder, {"scenario": "one"}))
    small = np.array([0.75, 0.72, 0.0])
    room = dict(zip([r.name for r in runs.requirements], runs(small[None])[0], strict=True))
    assert room["settling_time"] > 0.0
    (outcome,) = runs.outcomes(small[None])
    one = runs.space.case_of(runs.space.values(small))
    alone = judged(api.run(one, STRATEGY), case.criteria)
    assert alone.measures and alone.meets_criteria
    assert f"moves the value by {outcome.noise:.2g} m3/s" in alone.verdict
    (said,) = told(case, [outcome, outcome])
    assert "in 2 of 2 runs the transmitter's noise, and not the loop" in said
    assert f"a move below {least_move(outcome.noise, case.criteria):.2g} m3/s" in said
    runs.store.close()
    again = Store(folder, {"scenario": "one"})
    kept = again.get(small)
    again.close()
    assert kept is not None and kept.noise == outcome.noise
    assert told(case, []) == ()


def test_the_room_of_a_run_is_that_of_its_loop(tmp_path: Path) -> None:
    """Of a run that noise decides as of the same run without noise; of a loop that swings, its own.
    """
    case = plant(tmp_path)
    history = moved(noisy(case), SMALL)
    assert history.without_noise is not None
    names = [r.name for r in requirements(case.criteria, history.facts.max_safe_speed_ratio)]
    k = names.index("settling_time")
    assert distances(history, case.criteria)[k] < 0.0
    assert of_the_loop(history, case.criteria)[k] == distances(
        history.without_noise(), case.criteria)[k] > 0.0
    swings = moved(noisy(case, controller=Controller(gain=20.0, reset=0.5)), SMALL)
    assert np.array_equal(of_the_loop(swings, case.criteria), distances(swings, case.criteria))


def test_ten_times_the_scatter_hides_ten_times_the_move(tmp_path: Path) -> None:
    criteria = plant(tmp_path).criteria
    assert least_move(0.1, criteria) == pytest.approx(10.0 * least_move(0.01, criteria))
    assert least_move(0.0, criteria) == 0.0


def test_nothing_shown_to_pass_is_said_as_the_most_that_may_pass() -> None:
    """The upper end for 1 that passes of 15, Clopper and Pearson by SciPy."""
    most = binomtest(1, 15, alternative="less").proportion_ci(0.95, "exact").high
    assert statement(14, 15) == (f"15 runs, 14 failed: with 95 % confidence at most "
                                 f"{np.ceil(100.0 * most):.0f} % of this space passes")
