"""Known numbers found again in simulated trends, within the intervals that are told; and what a
trend cannot tell, told."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, chi2

from simfan import api
from simfan.errors import RunError
from simfan.fit_answer import FitAnswer
from simfan.fitting.fit import fit
from simfan.fitting.model import OUTPUT, SETPOINT, Model
from simfan.fitting.numbers import chosen
from simfan.fitting.record import record
from simfan.fitting.sensitivity import STEP, Scaled
from simfan.plant.case import Case
from simfan.plant.control import Controller
from simfan.trends.trend import Trend
from simfan.units import significant
from tests.fits import MEASURED, moved, other, ran, recorded
from tests.plants import plain

RESISTANCE, FIXED = "process.design.pressure", "process.fixed_pressure"
VOLUME, LAG = "ductwork.volume", "control.transmitter.lag"
DOWN, UP = "strategies.speed.speed.ramp_down", "strategies.speed.speed.ramp_up"
STROKE, AREA = (f"strategies.before.outlet_damper.{key}" for key in ("stroke_time", "area"))
TRUE = {RESISTANCE: 3900.0, VOLUME: 800.0, LAG: 1.4, DOWN: 50.0}
SPEED = moved("speed")
AS_BUILT = other(SPEED, TRUE)
RUN = ran(AS_BUILT)
EXPECTED = TRUE | {RESISTANCE: 3500.0}
"""The resistance is the design pressure less the fixed one, 400 Pa."""


def fitted(trend: Trend, paths: tuple[str, ...] = tuple(TRUE), case: Case = SPEED,
           name: str = "speed", **more: object) -> FitAnswer:
    """From one start, unless said."""
    return fit(case, name, trend, paths, **{"starts": 1, **more})  # type: ignore[arg-type]


def test_without_noise_the_numbers_come_back_exactly() -> None:
    """To the precision of the search."""
    found = fitted(recorded(RUN, noise=0.0))
    assert found.converged and found.explained
    assert {n.path: n.estimate for n in found.fitted} == pytest.approx(EXPECTED, rel=1e-3)


def test_what_the_scenario_is_given_is_the_whole_design_pressure() -> None:
    found = fitted(recorded(RUN, noise=0.0))
    assert found.changed[RESISTANCE] == pytest.approx(3900.0, rel=1e-3)
    assert found.changed[VOLUME] == pytest.approx(800.0, rel=1e-3)


@pytest.mark.parametrize("memory", [0.0, pytest.param(0.7, marks=pytest.mark.slow)])
@pytest.mark.parametrize("trends", [12, pytest.param(40, marks=pytest.mark.slow)])
def test_intervals_cover_the_truth_as_often_as_they_say(trends: int, memory: float) -> None:
    """Trends with other noise each time. Of `trends` intervals at 95 % no fewer cover the truth
    than one in a thousand of binomial draws; and errors over their standard deviations are no
    larger or smaller than one in a thousand of χ² draws allows (a wide interval covers, too), but
    those of coloured noise may be half as large: its memory is counted in full, and sensitivities
    that change quicker than it suffer less."""
    answers = [fitted(recorded(RUN, seed=k, memory=memory)) for k in range(trends)]
    assert all(a.converged for a in answers)
    for path, truth in EXPECTED.items():
        numbers = [next(n for n in a.fitted if n.path == path) for a in answers]
        covered = sum(n.low <= truth <= n.high for n in numbers if n.low and n.high)
        assert covered >= binom.ppf(0.001, trends, 0.95), path
        errors = [np.log(n.estimate / truth) / (0.5 * np.log(n.high / n.low) / 1.96)
                  for n in numbers if n.low and n.high]
        size = float(np.sum(np.square(errors)))
        low, high = chi2.ppf([0.001, 0.999], trends)
        assert (0.25 * low if memory else low) <= size <= high, path


@pytest.mark.slow
def test_intervals_of_a_damper_cover_the_truth_as_often_as_they_say() -> None:
    case, true = moved("before"), {RESISTANCE: 3900.0, VOLUME: 800.0, AREA: 3.6}
    run, expected = ran(other(case, true), "before"), true | {RESISTANCE: 3500.0}
    answers = [fitted(recorded(run, seed=k), tuple(true), case, "before") for k in range(40)]
    for path, truth in expected.items():
        numbers = [next(n for n in a.fitted if n.path == path) for a in answers]
        covered = sum(n.low <= truth <= n.high for n in numbers if n.low and n.high)
        assert covered >= binom.ppf(0.001, 40, 0.95), path


def test_more_noise_makes_wider_intervals_in_proportion() -> None:
    widths = []
    for noise in (0.005, 0.02):
        volume = next(n for n in fitted(recorded(RUN, noise=noise)).fitted if n.path == VOLUME)
        assert volume.low and volume.high
        widths.append(np.log(volume.high / volume.low))
    assert widths[1] / widths[0] == pytest.approx(4.0, rel=0.25)


def test_the_jacobian_does_not_hang_on_its_step() -> None:
    """Central differences at a quarter of the step, in each column's own size."""
    trend = recorded(RUN)
    numbers = chosen(SPEED, "speed", tuple(TRUE))
    scaled = Scaled(Model(SPEED, "speed", record(SPEED, trend), numbers, OUTPUT), range(4),
                    np.array([3500.0, 800.0, 1.4, 50.0]))
    wide, narrow = (scaled.jacobian(scaled.x(), step) for step in (STEP, 0.25 * STEP))
    apart = np.linalg.norm(wide - narrow, axis=0) / np.linalg.norm(narrow, axis=0)
    assert np.all(apart < 0.02), apart


def test_of_resistance_and_fixed_pressure_a_combination_is_known_and_it_is_told() -> None:
    """Flow moved by 20 %: the square of the flow is nearly a straight line there."""
    found = fitted(recorded(RUN), (RESISTANCE, FIXED, VOLUME))
    (one, other, r), = found.pairs
    assert (one, other) == ("fixed pressure", "resistance at design flow")
    assert -1.0 <= r < -0.995
    assert any(f"only a combination of {one} and {other}" in said for said in found.findings)


def test_vanes_that_never_moved_keep_their_stroke_time() -> None:
    """Both elements stand on one output; the trend moved the speed alone, in its lower half."""
    name = "vanes-then-speed"
    kiln = api.load("scenarios/kiln-air.toml")
    case = _lower_half(kiln, name)
    trend = recorded(ran(case, name), noise=0.002).part(35.0, 70.0)
    stroke = f"strategies.{name}.inlet_vanes.stroke_time"
    found = fitted(trend, (RESISTANCE, stroke), case, name)
    left = found.left_alone
    assert [n.path for n in left] == [stroke]
    assert left[0].why == ("the trend never moved the inlet vanes: stroke time cannot be known")
    assert left[0].estimate == left[0].before and left[0].low is None


def _lower_half(case: Case, name: str) -> Case:
    """In manual, at 30 and then 40 % output: the vanes have come to their least opening."""
    from simfan.plant.events import Event

    run = case.run.model_copy(update={"duration": 70.0})
    return case.model_copy(update={
        "run": run, "strategies": {name: case.strategies[name]},
        "timeline": (Event(at=0.0, manual_output=0.3), Event(at=40.0, manual_output=0.4))})


def test_a_trend_at_rest_tells_no_dynamics() -> None:
    case = moved("before").model_copy(update={"timeline": ()})
    found = fitted(_with_noise(recorded(ran(case, "before"))), (RESISTANCE, VOLUME, LAG, STROKE),
                   case, "before")
    assert {n.path for n in found.left_alone} >= {VOLUME, LAG, STROKE}
    assert all(n.why for n in found.left_alone)


def _with_noise(trend: Trend) -> Trend:
    """Of 0.5 % of the reading, since nothing swings."""
    random = np.random.default_rng(5)
    return replace(trend, signals={
        k: v * (1.0 + 0.005 * random.standard_normal(v.size)) if k in MEASURED else v
        for k, v in trend.signals.items()})


def test_a_wrong_fan_curve_shows_as_residuals_out_of_noise() -> None:
    """The plant's fan gives less at large flows than the maker's curve says."""
    fan = SPEED.fan
    bent = tuple(p * (1.0 - 0.25 * max(0.0, q / 40.0 - 0.7)) for q, p in
                 zip(fan.flow, fan.static_pressure or (), strict=True))
    plant = SPEED.model_copy(update={"fan": fan.model_copy(update={"static_pressure": bent})})
    found = fitted(recorded(ran(plant), noise=0.002))
    assert not found.explained
    said = next(f for f in found.findings if f.startswith("the model does not explain this trend"))
    worst = max(s.left for s in found.signals)
    assert f"residuals are {significant(worst, 2)} times the noise in" in said


def test_driven_by_the_setpoint_other_gains_falsify_the_numbers() -> None:
    """The plant ran with half the gain and twice the reset of the scenario. Its recorded output
    needs no gains; under its setpoint the scenario's own controller runs, and the answer says that
    this may be so."""
    strategy = AS_BUILT.strategies["speed"]
    gains = (strategy.controller or Controller()).with_gains(0.2, 16.0)
    plant = AS_BUILT.model_copy(update={"strategies": {
        "speed": strategy.model_copy(update={"controller": gains})}})
    trend = recorded(ran(plant), noise=0.003)
    by_output, by_setpoint = (fitted(trend, driven_by=by) for by in (OUTPUT, SETPOINT))
    assert by_output.explained and not by_setpoint.explained
    assert any("falsify every number" in said for said in by_setpoint.assumed)
    assert not any("falsify every number" in said for said in by_output.assumed)


def test_a_disturbance_is_told_by_residuals_that_stay_alike() -> None:
    """The process clogs: the model knows nothing of it."""
    from simfan.plant.events import Event

    clogs = AS_BUILT.model_copy(update={"timeline": (
        *AS_BUILT.timeline, Event(at=60.0, process_resistance=1.2, over=5.0))})
    found = fitted(recorded(ran(clogs), noise=0.002))
    assert not found.explained
    assert max(s.memory for s in found.signals) > 5.0


def test_a_start_that_is_not_at_rest_is_seen_and_can_be_skipped() -> None:
    """The trend begins while the plant comes to rest after a move."""
    whole = recorded(RUN, noise=0.002)
    late = whole.part(7.0, 90.0)
    begun = fitted(late)
    assert any("does not seem to begin at rest" in said for said in begun.findings)
    skipped = fitted(late, skip=15.0)
    assert skipped.left < begun.left


def test_other_starts_come_to_the_same_place() -> None:
    found = fitted(recorded(RUN), starts=3)
    assert len(found.searches) == 3
    assert [s.left for s in found.searches] == pytest.approx([found.left] * 3, rel=0.02)


def test_a_search_cut_short_is_never_called_converged(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("simfan.fitting.solve.MOST_STEPS", 1)
    found = fitted(recorded(RUN))
    assert not found.converged
    assert found.findings[0].startswith("the search did not end on a minimum")


def test_samples_that_are_not_good_are_left_out() -> None:
    """A tenth of the readings is missing; the inputs hold their last good value."""
    trend = recorded(RUN)
    holes = np.random.default_rng(1).random(trend.time.size) < 0.1
    signals = {k: np.where(holes, np.nan, v) if k in MEASURED else v
               for k, v in trend.signals.items()}
    found = fitted(replace(trend, signals=signals))
    assert found.signals[0].samples == int((~holes).sum())
    assert found.explained


@pytest.mark.parametrize(("paths", "words"), [
    (("ductwork.volum",), "ductwork.volum cannot be fitted"),
    (("control.transmitter.dead_time",), "it acts in jumps"),
    (("motor.poles",), "motor.poles cannot be fitted"),
    (("run.duration",), "run.duration cannot be fitted"),
])
def test_what_cannot_be_fitted_is_refused_in_words(paths: tuple[str, ...], words: str) -> None:
    with pytest.raises(RunError, match=words):
        fitted(recorded(RUN), paths)


def test_a_number_of_another_strategy_is_refused() -> None:
    case = plain()
    with pytest.raises(RunError, match="of another strategy than speed"):
        fitted(recorded(RUN), (AREA,), case)


def test_a_trend_without_anything_to_compare_is_refused() -> None:
    with pytest.raises(RunError, match="nothing to compare"):
        fitted(recorded(RUN, signals=()))


def test_without_output_and_gains_nothing_can_drive_the_model() -> None:
    trend = recorded(RUN)
    signals = {k: v for k, v in trend.signals.items() if k != "controller_output"}
    strategy = SPEED.strategies["speed"].model_copy(update={"controller": None})
    case = SPEED.model_copy(update={"strategies": {"speed": strategy}})
    with pytest.raises(RunError, match="gives no gains"):
        fitted(replace(trend, signals=signals), case=case)


def test_a_signal_that_the_strategy_has_not_is_refused() -> None:
    trend = recorded(RUN)
    signals = {**trend.signals, "element_position of inlet vanes": trend.time}
    with pytest.raises(RunError, match="speed moves speed"):
        fitted(replace(trend, signals=signals))
