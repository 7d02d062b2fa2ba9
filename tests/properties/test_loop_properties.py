"""What must hold for any controller, any tuning and any simple process."""

from math import asin

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from simfan.kernel import layout
from simfan.loops import rules
from simfan.loops.identify import fit_first_order
from simfan.loops.margins import Controller, Margins, around, ultimate
from simfan.loops.models import FirstOrder
from simfan.plant.tuning import Standard, to_parallel, to_series
from simfan.steady.bench import Array
from tests.loops import Loop

SCAN = 0.05
GAINS, TIMES = st.floats(0.1, 20.0), st.floats(0.2, 200.0)
INPUTS = st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)), min_size=1, max_size=40)
"""Setpoint and value at each scan."""


def tuned(gain: float, reset: float, **more: float) -> Loop:
    """The kernel's controller at rest at the half of its output and of its value."""
    return Loop(SCAN, gain, reset, starts=0.5, value=0.5, **more)


@settings(deadline=None, max_examples=60)
@given(GAINS, TIMES, INPUTS)
def test_external_reset_is_back_calculation_with_the_reset_time(
    gain: float, reset: float, inputs: list[tuple[float, float]]) -> None:
    """v = Kc·e + I, u limited, dI/dt = Kc·e/Ti + (u − v)/Tt with Tt = Ti; inputs for 5 scans."""
    loop, integral = tuned(gain, reset), 0.5
    for setpoint, value in np.repeat(inputs, 5, axis=0):
        error = setpoint - value
        wanted = gain * error + integral
        given_out = min(max(wanted, 0.0), 1.0)
        integral += SCAN / reset * (gain * error + given_out - wanted)
        assert loop.scan(setpoint, value) == pytest.approx(given_out, abs=1e-9 * gain)


AUTOMATIC, HOLD = np.nan, -1.0
MODES = st.just(AUTOMATIC) | st.just(HOLD) | st.floats(0.0, 1.0)
STAGES = st.lists(st.tuples(MODES, st.floats(0.0, 1.0), st.floats(0.0, 1.0)),
                  min_size=2, max_size=12)


@settings(deadline=None, max_examples=60)
@given(GAINS, TIMES, st.sampled_from([0.0, 0.5, 1.0]), st.sampled_from([0.0, 0.5]), STAGES)
def test_no_change_of_mode_bumps_the_output(
    gain: float, reset: float, weight: float, derivative: float,
    stages: list[tuple[float, float, float]]) -> None:
    """Automatic, held where it is, or set by hand, in any order, limited or not, on and off the
    setpoint: once the derivative has died out, the first output in another mode is the last one or
    what the hand sets, and in automatic the second goes on from it by reset alone."""
    loop = tuned(gain, reset, setpoint_weight=weight, derivative=derivative)
    mode, seen, last = AUTOMATIC, (0.5, 0.5), loop.scan(0.5, 0.5)
    for next_mode, setpoint, value in stages:
        before, mode = mode, next_mode
        loop.schedule.manual[0, 0] = mode
        first, second = loop.scan(*seen), loop.scan(*seen)
        if mode >= 0.0:
            assert first == second == mode
        elif mode == HOLD:
            assert first == second == last
        elif not np.isnan(before):
            assert first == pytest.approx(last, abs=1e-9 * gain)
            goes_on = first + SCAN / reset * gain * (seen[0] - seen[1])
            assert second == pytest.approx(min(max(goes_on, 0.0), 1.0), abs=1e-9 * gain)
        seen = setpoint, value
        for _ in range(60):
            last = loop.scan(*seen)


TUNINGS = [(2.0, 8.0, 0.0), (0.7, 0.6, 0.0), (1.5, 4.0, 0.5), (0.3, 30.0, 4.0)]


def harmonic(wave: Array, per_period: int) -> complex:
    """Of the last whole period."""
    last = np.asarray(wave[-per_period:])
    return complex(2.0 * np.mean(last * np.exp(-2j * np.pi * np.arange(per_period) / per_period)))


@pytest.mark.parametrize("tuning", TUNINGS, ids=str)
@pytest.mark.parametrize("per_period", [3, 10, 64, 400])
@pytest.mark.parametrize("lag", [None, 0.7], ids=["own output", "position"])
def test_the_kernel_s_controller_answers_a_sine_as_its_response_says(
    tuning: tuple[float, float, float], per_period: int, lag: float | None) -> None:
    """Scanned, with the derivative's filter; reset from its own output or from an element that
    follows with a lag, which then shows in the response as P = (1 − d)/(z − d), d = e^(−T/τ)."""
    gain, reset, derivative = tuning
    omega = 2.0 * np.pi / (per_period * SCAN)
    loop = tuned(gain, reset, derivative=derivative)
    if lag is not None:
        loop.tune(reset_from=layout.POSITION, actuator=0)
    decay = float(np.exp(-SCAN / (lag or 1e-9)))
    dying = 12.0 * max(derivative, lag or 0.0) / SCAN
    n = per_period * (2 + round(dying / per_period))
    position, output, swing = 0.5, np.empty(n), 1e-3
    value = 0.5 + swing * np.cos(omega * SCAN * np.arange(n))
    for k, y in enumerate(value.tolist()):
        loop.state.position[0] = position
        output[k] = loop.scan(0.5, y)
        position = output[k] + (position - output[k]) * decay
    controller = Controller(gain, reset, SCAN, derivative)
    z = np.exp(1j * omega * SCAN)
    share = 1.0 if lag is None else (1.0 - decay) / (z - decay)
    expected = -complex(controller.response(np.array([omega]), share)[0])
    assert harmonic(output, per_period) / swing == pytest.approx(expected, rel=1e-6)


@given(GAINS, TIMES, st.floats(0.0, 0.25), st.floats(-3.0, 3.0))
def test_three_forms_of_a_tuning_are_one_controller(gain: float, reset: float, share: float,
                                                    where: float) -> None:
    """K(1 + 1/(Ti·s))(1 + Td·s) = Kp + Ki/s + Kd·s = Kc(1 + 1/(Ti'·s) + Td'·s) at any jω."""
    standard = Standard(gain, reset, share * reset)
    s = 1j * 10.0**where / reset
    series, parallel = to_series(standard), to_parallel(standard)
    expected = gain * (1.0 + 1.0 / (reset * s) + standard.derivative * s)
    assert parallel.gain + parallel.integral_gain / s + parallel.derivative_gain * s == (
        pytest.approx(expected, rel=1e-12))
    assert series.gain * (1.0 + 1.0 / (series.reset * s)) * (1.0 + series.derivative * s) == (
        pytest.approx(expected, rel=1e-9))


@given(st.floats(1e-4, 1e4), st.floats(1e-2, 1e5), st.floats(0.0, 1e4))
def test_what_is_typed_in_stays_what_it_is(gain: float, reset: float, derivative: float) -> None:
    """Three digits: half a unit of the third at most away, and rounded no further."""
    exact = Standard(gain, reset, derivative)
    sheet = rules.for_sheet(exact)
    assert rules.for_sheet(sheet) == sheet
    assert sheet == pytest.approx(exact, rel=5.01e-3)


PROCESSES = st.builds(FirstOrder, st.floats(0.1, 10.0), st.floats(0.5, 50.0), st.floats(0.5, 20.0))


def proportional(process: FirstOrder, gain: float) -> Margins:
    """Of gain times the process."""
    return around(lambda w: gain * process.response(w), 100.0 / process.dead_time, 0.0)


@settings(deadline=None, max_examples=50)
@given(PROCESSES, st.floats(0.2, 3.0))
def test_the_gain_margin_ends_at_the_ultimate_gain(process: FirstOrder, share: float) -> None:
    """Proportional control of a lag with dead time is stable below Ku and nowhere above."""
    assume(abs(share - 1.0) > 0.01)
    swings = ultimate(process.response, 100.0 / process.dead_time)
    found = proportional(process, share * swings.gain)
    assert found.stable == (share < 1.0)
    if found.stable:
        assert found.gain_margin == pytest.approx(1.0 / share, rel=1e-3)


@settings(deadline=None, max_examples=50)
@given(PROCESSES, st.floats(0.3, 3.0), st.floats(0.3, 5.0), st.floats(0.1, 10.0), GAINS)
def test_margins_know_no_units(process: FirstOrder, tight: float, reset: float, slower: float,
                               factor: float) -> None:
    """The gain taken from the process to the controller, all times longer: the same margins, the
    crossover slower; and the bounds GM ≥ Ms/(Ms − 1), PM ≥ 2·asin(1/2Ms) of textbooks."""
    gain, ti = tight * rules.simc_pi(process).gain, reset * (process.lag + process.dead_time)
    assume(process.lag > 0.1 * process.dead_time)

    def found(p: FirstOrder, k: float, t: float) -> Margins:
        return around(lambda w: k * (1.0 + 1.0 / (1j * w * t)) * p.response(w),
                      300.0 / p.dead_time, 0.5)

    one = found(process, gain, ti)
    other = found(FirstOrder(factor * process.gain, slower * process.lag,
                             slower * process.dead_time), gain / factor, slower * ti)
    assert other.stable == one.stable
    if not one.stable or one.phase_margin is None or one.gain_margin is None:
        return
    assert one.crossover is not None
    assert other.sensitivity == pytest.approx(one.sensitivity, rel=1e-3)
    assert other.gain_margin == pytest.approx(one.gain_margin, rel=1e-3)
    assert other.phase_margin == pytest.approx(one.phase_margin, abs=1e-3)
    assert other.crossover == pytest.approx(one.crossover / slower, rel=1e-3)
    assert one.gain_margin > one.sensitivity / (one.sensitivity - 1.0) * (1.0 - 1e-3)
    assert one.phase_margin > 2.0 * asin(0.5 / one.sensitivity) - 1e-3


@settings(deadline=None, max_examples=25)
@given(PROCESSES, st.sampled_from([1.0, -1.0]), st.floats(0.5, 5.0))
def test_a_bump_test_finds_any_plant_without_noise(process: FirstOrder, sign: float,
                                                   move: float) -> None:
    """Gain, lag and dead time within 1 %, scanned ten times in the shorter of lag and dead time."""
    true = FirstOrder(sign * process.gain, process.lag, process.dead_time)
    scan = 0.1 * min(true.lag, true.dead_time)
    end = 6.0 * (true.lag + true.dead_time)
    time = np.linspace(0.0, end, min(round(end / scan), 3000))
    at = time[time.size // 20]
    found = fit_first_order(time, 50.0 + move * true.step(time - at), move * (time >= at))
    assert vars(found.process) == pytest.approx(vars(true), rel=0.01)
