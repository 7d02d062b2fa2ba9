"""Rules on a loop of the plant, the runs of every tuning, and the small step answers."""

from functools import partial
from math import pi
from pathlib import Path

import numpy as np
import pytest

from simfan import api
from simfan.errors import RunError
from simfan.loop_answer import LoopAnswer, LoopTuning, StrategyLoop
from simfan.loops.by_rule import NAMES, by_rule, chosen
from simfan.loops.over_range import Loop
from simfan.plant.control import Controller
from simfan.simulate import simulate
from simfan.trials import trial, typed_in
from tests import plants

VANES = "inlet-vanes"
KILN = plants.typed(api.load(Path(__file__).parents[1] / "scenarios" / "kiln-air.toml"))


@pytest.fixture(scope="module")
def answer() -> LoopAnswer:
    return api.tune(KILN, [VANES], low=32.0, high=46.0, rules=["all"], runs=True, curves=True)


@pytest.fixture(scope="module")
def found(answer: LoopAnswer) -> StrategyLoop:
    return answer.strategies[0]


def tuning(found: StrategyLoop, name: str) -> LoopTuning:
    return next(t for t in found.tunings if t.name == name)


@pytest.mark.parametrize(("typed", "meant"), [
    ("SIMC PI", ["SIMC PI"]), ("simc-pi", ["SIMC PI"]), ("simc", ["SIMC PI", "SIMC PID"]),
    ("lambda", ["lambda PI"]), ("amigo", ["AMIGO PI", "AMIGO PID"]),
    ("ultimate", ["Ziegler–Nichols ultimate PI", "Ziegler–Nichols ultimate PID"]),
    ("relay", ["Tyreus–Luyben PI", "Tyreus–Luyben PID"]), ("all", list(NAMES)),
])
def test_a_rule_is_known_by_its_name_or_the_beginning_of_several(typed: str, meant: list[str]
                                                                 ) -> None:
    assert list(chosen([typed])) == meant


def test_an_unknown_rule_is_told_with_those_there_are() -> None:
    with pytest.raises(RunError, match=r'did you mean "SIMC PI.*There are: SIMC PI, SIMC PID'):
        chosen(["simk"])
    with pytest.raises(RunError, match="no tuning rule"):
        chosen([""])


def test_rules_are_told_the_point_that_swings_at_the_least_gain(found: StrategyLoop) -> None:
    """By the gain margin of a gain of one that hardly integrates, which is Ku by definition."""
    loop = Loop(KILN, VANES, 32.0, 46.0)
    swings = [m.gain_margin or np.inf for m in loop.margins(loop.pid(1.0, 1e6))]
    assert found.rule_point is not None
    assert found.rule_point.ultimate_gain == pytest.approx(min(swings), rel=1e-3)
    assert found.rule_point.held == pytest.approx(loop.held[int(np.argmin(swings))])


def test_a_rule_gives_its_formula_of_what_it_was_told(found: StrategyLoop) -> None:
    """Kc = τ/(2Kθ), Ti = min(τ, 8θ): Skogestad, J. Process Control 13 (2003) 291, with τc = θ.
    0.45·Ku and Pu/1.2: textbooks; from memory. Rounded to three digits."""
    p = found.rule_point
    assert p is not None
    assert p.ultimate_gain is not None
    assert p.ultimate_period is not None
    simc, swing = tuning(found, "SIMC PI"), tuning(found, "Ziegler–Nichols ultimate PI")
    assert simc.gain == pytest.approx(p.lag / (2.0 * p.gain * p.dead_time), rel=5e-3)
    assert simc.reset == pytest.approx(min(p.lag, 8.0 * p.dead_time), rel=5e-3)
    assert swing.gain == pytest.approx(0.45 * p.ultimate_gain, rel=5e-3)
    assert swing.reset == pytest.approx(p.ultimate_period / 1.2, rel=5e-3)


def test_what_is_judged_is_what_is_typed_in(found: StrategyLoop) -> None:
    """Three digits, and margins of the rounded numbers."""
    loop = Loop(KILN, VANES, 32.0, 46.0)
    for t in found.tunings[1:]:
        for number in (t.gain, t.reset, t.derivative):
            assert number == float(f"{number:.3g}")
        judged = loop.margins(loop.pid(t.gain, t.reset, t.derivative, t.derivative_filter))
        if t.sensitivity is not None:
            assert t.sensitivity == pytest.approx(max(m.sensitivity for m in judged), rel=1e-9)
        else:
            assert not all(m.stable for m in judged)


def test_the_second_order_of_simc_pid_is_the_process_up_to_its_knee(found: StrategyLoop) -> None:
    loop, p = Loop(KILN, VANES, 32.0, 46.0), found.rule_point
    assert p is not None
    assert p.second is not None
    lag, second, dead = p.second
    k = int(np.argmin(np.abs(loop.held - p.held)))
    omega = np.geomspace(0.01, 1.0 / p.lag, 20)
    s = 1j * omega
    model = p.gain * np.exp(-s * (dead - 0.5 * loop.scan)) / ((lag * s + 1.0) * (second * s + 1.0))
    assert np.abs(model / loop.linear[k].response(omega) - 1.0).max() < 0.02


def test_a_rule_that_does_not_apply_is_a_sentence() -> None:
    """No lag is known of a plant that is unstable by itself, and no ultimate gain."""
    got = by_rule(Loop(KILN, "damper-at-kiln", 16.0, 20.0, n=3), ["SIMC PI", "Tyreus–Luyben PI"])
    assert not got.tunings
    assert all("no point of the range has a stable process" in why
               for why in got.not_applied.values())


def test_the_load_error_of_a_run_is_the_integral_time_over_the_gain(answer: LoopAnswer,
                                                                    found: StrategyLoop) -> None:
    """∫e dt = (Ti/Kc)·Δu from rest to rest, on spans. Åström & Hägglund, Advanced PID Control
    (2006), section 4.9; from memory. 2 % for what is left at the end of the run."""
    for name in ("SIMC PI", "lambda PI", "AMIGO PI"):
        t = tuning(found, name)
        run = t.run
        assert run is not None
        assert run.load_iae is not None
        before = run.output[np.searchsorted(run.time, run.load_at) - 1]
        moved = abs(float(run.output[-1] - before))
        hundred = max(float(run.setpoint.max()), float(run.setpoint[0]))
        integral = run.load_iae / 100.0 * hundred / (answer.span[1] - answer.span[0])
        assert integral == pytest.approx(t.load_rejection * moved, rel=0.02)


@pytest.mark.parametrize("name", ["inlet-vanes", "variable-speed", "furnace"])
def test_the_small_step_answer_is_that_of_the_running_plant(name: str) -> None:
    """Within 1 % of the step, at the scans; the step is small against every curvature, and the run
    goes at a 64th of a scan, since elements move once a step."""
    case, name = (api.load(Path(__file__).parents[1] / "scenarios" / "furnace-draft.toml"),
                  "inlet-vanes") if name == "furnace" else (KILN, name)
    whole = api.tune(case, [name], curves=True)
    loop, at = whole.strategies[0], 3
    t = loop.recommended
    assert t is not None
    assert t.curves is not None
    wanted = t.curves.steps[at]
    point = loop.points[t.curves.steps_at[at]]
    step = 2e-4 * (whole.high - whole.low)
    short = trial(case, name, t, (point.held, point.held + step), (5.0, 45.0))
    short = short.model_copy(update={"timeline": short.timeline[:1],
                                     "control": quiet(short.control),
                                     "run": short.run.model_copy(update={
                                         "step": case.control.scan / 64.0})})
    run = simulate(short, name)
    read, time = run.trace("measured_value"), run.time
    scans = np.searchsorted(time, 5.0 + t.curves.time - 1e-9)
    got = (read[scans] - read[scans[0]]) / step
    assert np.abs(got - wanted).max() < 0.01


def quiet(control):  # type: ignore[no-untyped-def]
    """The same without noise or steps of the reading, which the linear model has not."""
    told = {k: v for k, v in (("noise", 0.0), ("resolution", 0.0))
            if k in type(control.transmitter).model_fields}
    return control.model_copy(update={
        "transmitter": control.transmitter.model_copy(update=told)})


def test_a_step_answer_ends_at_the_setpoint_where_the_loop_is_stable(found: StrategyLoop) -> None:
    for t in found.tunings:
        assert t.curves is not None
        for k, steps in zip(t.curves.steps_at, t.curves.steps, strict=True):
            assert (steps is None) == (found.points[k].sensitivity[t.name] is None)
    robust = tuning(found, "robust")
    assert robust.curves is not None
    assert all(s is not None and abs(s[-1] - 1.0) < 0.05 for s in robust.curves.steps)


def test_the_peak_of_the_drawn_sensitivity_is_ms(found: StrategyLoop) -> None:
    t = tuning(found, "robust")
    assert t.curves is not None
    drawn = max(float(np.abs(1.0 / (1.0 + loop)).max()) for loop in t.curves.loop)
    assert drawn == pytest.approx(t.sensitivity, rel=5e-3)


def test_a_run_has_all_of_the_strategy_but_the_tuning() -> None:
    given = KILN.strategies[VANES].model_copy(update={"controller": Controller(
        gain=0.4, repeats=0.1, setpoint_weight=0.3)})
    case = KILN.model_copy(update={"strategies": {VANES: given}})
    t = LoopTuning("robust", 1.5, 2.5, 0.5, 8.0, 1.5, 40.0, 1.2, 3.0, 0.9, 1.0, (), 1.0,
                   full_travel=11.0)
    typed = typed_in(case, VANES, t)
    assert typed.standard == (1.5, 2.5, 0.5)
    assert (typed.setpoint_weight, typed.full_travel) == (0.3, 11.0)


def test_a_sought_tuning_goes_no_faster_than_its_elements(found: StrategyLoop) -> None:
    """Vanes of 10 s a stroke: 10 s. What is given stays as it is."""
    assert tuning(found, "robust").full_travel == 10.0
    assert tuning(found, "as given").full_travel is None


def test_a_speed_loop_at_its_robust_gains_settles_in_spite_of_its_ramp() -> None:
    """Without a limit of the output's rate this very loop swings for ever between its ramps."""
    found = api.tune(KILN, ["variable-speed"], low=31.0, high=47.9, runs=True).strategies[0]
    robust = tuning(found, "robust")
    assert robust.run is not None
    assert robust.run.settling is not None
    assert robust.run.settling < 15.0


def test_ultimate_gain_and_period_swing_on_in_the_linear_model(found: StrategyLoop) -> None:
    """Ku·G(e^{jωT}) = −1 at ω = 2π/Pu."""
    p, loop = found.rule_point, Loop(KILN, VANES, 32.0, 46.0)
    assert p is not None
    assert p.ultimate_gain is not None
    assert p.ultimate_period is not None
    k = int(np.argmin(np.abs(loop.held - p.held)))
    at = partial(loop.linear[k].sampled, scan=loop.scan)(np.array([2.0 * pi / p.ultimate_period]))
    assert p.ultimate_gain * at[0] == pytest.approx(-1.0, abs=1e-6)
