"""The kernel's PID controller against closed forms of control textbooks.

Standard form, u = Kc(b·r − y + (1/Ti)∫e dt) − Kc·N·(filtered difference of y). Closed forms from
Åström & Hägglund, Advanced PID Control (2006), and Skogestad, J. Process Control 13 (2003) 291
(from memory), figures calculated beforehand with another program; python-control as a second
opinion.
"""

import control
import numpy as np
import pytest

from simfan.kernel import layout
from tests.loops import Lagged, Loop, close
from tests.published.record import checked

DT = 0.01


def test_a_constant_error_repeats_the_proportional_step_every_reset_time() -> None:
    """Output steps by Kc·e at once and again by as much in each Ti."""
    gain, reset, error = 0.8, 5.0, 0.05
    loop = Loop(DT, gain, reset, starts=0.2)
    output = [loop.scan(0.55, 0.50) for _ in range(1501)]
    expected = [0.2 + gain * error * repeats for repeats in (1, 2, 3, 4)]
    assert output[::500] == checked(expected, "output at 0, Ti, 2Ti, 3Ti", abs=1e-12)


def test_a_step_of_the_value_gives_the_derivative_kick_and_its_decay() -> None:
    """−Kc·N·Δ at once, dying with Td/N; the proportional part −Kc·Δ stays."""
    gain, derivative, share, step = 0.5, 2.0, 8.0, 0.02
    loop = Loop(DT, gain, 86400.0, starts=0.5, derivative=derivative, derivative_filter=share)
    loop.scan(0.0, 0.0)
    output = np.array([loop.scan(0.0, step) for _ in range(100)])
    time = DT * np.arange(100)
    kick = -gain * share * step * np.exp(-time / (derivative / share))
    assert output - 0.5 + gain * step == checked(
        kick, "output", abs=1e-5)  # reset adds −1e-7 a scan
    assert kick[0] == checked(-0.08, "kick")


def test_the_derivative_does_not_see_the_setpoint() -> None:
    loop = Loop(DT, 0.5, 86400.0, starts=0.5, derivative=2.0)
    loop.scan(0.0, 0.0)
    assert loop.scan(0.1, 0.0) == checked(0.5 + 0.5 * 0.1, "output", abs=1e-6)


def test_external_reset_is_back_calculation_with_the_reset_time() -> None:
    """v = Kc·e + I, u limited, dI/dt = Kc·e/Ti + (u − v)/Tt with Tt = Ti: no difference."""
    gain, reset = 4.0, 3.0
    loop = Loop(DT, gain, reset, starts=0.4)
    integral, worst, limited = 0.4, 0.0, 0
    for k in range(4000):
        error = 0.3 * np.sin(2.0 * np.pi * k * DT / 11.0) + 0.05 * np.sin(k * DT)
        v = gain * error + integral
        u = min(max(v, 0.0), 1.0)
        integral += DT * (gain * error / reset + (u - v) / reset)
        limited += u != v
        worst = max(worst, abs(loop.scan(0.5 + error, 0.5) - u))
    assert 1000 < limited < 3900
    assert worst < 1e-12  # rounding


@pytest.mark.parametrize("weight", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("derivative", [0.0, 1.0])
def test_the_loop_ends_at_its_setpoint_for_any_setpoint_weight(weight: float, derivative: float,
                                                               ) -> None:
    loop = Loop(0.05, 2.0, 8.0, setpoint_weight=weight, derivative=derivative)
    _, value, output = close(loop, Lagged(0.05, 1.0, 10.0, 1.0), 200.0, lambda t: 0.6)
    assert value[-1] == checked(0.6, "value", abs=1e-6)
    assert output[-1] == checked(0.6, "output", abs=1e-6)


@pytest.mark.parametrize("weight", [0.5, 1.0])
def test_the_loop_ends_at_its_setpoint_after_it_was_limited(weight: float) -> None:
    """Wanted 1.5 for a while, of which 1 can be given; then .6."""
    loop = Loop(0.05, 2.0, 8.0, setpoint_weight=weight)
    _, value, output = close(loop, Lagged(0.05, 1.0, 10.0, 1.0), 400.0,
                             lambda t: 1.5 if t < 150.0 else 0.6)
    assert output.max() == 1.0
    assert value[-1] == checked(0.6, "value", abs=1e-6)


def test_without_limits_the_velocity_form_gives_the_same() -> None:
    """Δu_k = Kc(e_k − e_{k−1} + dt/Ti·e_{k−1})."""
    gain, reset = 0.5, 6.0
    loop = Loop(DT, gain, reset, starts=0.5)
    errors = 0.1 * np.sin(0.7 * DT * np.arange(3000))
    u, before = 0.5, 0.0
    for error in errors:
        u += gain * (error - before + DT / reset * before)
        before = error
        assert loop.scan(0.5 + error, 0.5) == checked(u, "output", abs=1e-12)


def test_a_ramp_is_followed_with_its_lag() -> None:
    """r·(τc + θ): SIMC tuning with K 1, τ 10, θ 2, τc 2 lags a ramp of 1 a second by 4.000.

    Span a thousand times the ramp's second, so that nothing is limited.
    """
    gain, reset, ramp = 10.0 / (2.0 + 2.0), 10.0, 1e-3
    loop = Loop(0.05, gain, reset)
    time, value, output = close(loop, Lagged(0.05, 1.0, 10.0, 2.0), 300.0, lambda t: ramp * t)
    assert output.max() < 1.0
    assert (ramp * time[-1] - value[-1]) / ramp == checked(4.000, "lag of the ramp [s]", abs=0.0005)


@pytest.mark.parametrize(("gain", "reset"), [(2.5, 10.0), (1.2, 4.0)])
def test_a_load_step_costs_reset_time_over_gain(gain: float, reset: float) -> None:
    """∫e dt = Ti/Kc for a unit of load, whatever the process; here a tenth of it."""
    loop = Loop(0.05, gain, reset, starts=0.5, value=0.5)
    process = Lagged(0.05, 1.0, 10.0, 2.0, starts=0.5)
    _, value, _ = close(loop, process, 400.0, lambda t: 0.5, load=lambda t: -0.1)
    assert 0.05 * np.sum(0.5 - value) == checked(0.1 * reset / gain, "∫e dt", abs=1e-6)


@pytest.mark.parametrize("weight", [0.5, 1.0])
def test_a_new_reset_time_moves_no_output_at_rest(weight: float) -> None:
    """At e = 0 in the steady state."""
    loop = Loop(0.05, 2.0, 8.0, setpoint_weight=weight)
    process = Lagged(0.05, 1.0, 10.0)
    close(loop, process, 400.0, lambda t: 0.6)
    before = loop.scan(0.6, process.value)
    loop.tune(reset=1.0)
    assert loop.scan(0.6, process.value) == checked(before, "output", abs=1e-12)


@pytest.mark.parametrize("weight", [0.5, 1.0])
@pytest.mark.parametrize("derivative", [0.0, 1.0])
def test_automatic_takes_over_from_manual_without_a_bump(weight: float, derivative: float) -> None:
    """Off the setpoint, too: the first output is the last of manual, then reset goes on from it."""
    gain, reset, error = 2.0, 8.0, 0.1
    loop = Loop(0.05, gain, reset, setpoint_weight=weight, derivative=derivative, value=0.5)
    loop.schedule.manual[0, 0] = 0.7
    assert [loop.scan(0.5 + error, 0.5) for _ in range(50)] == [0.7] * 50
    loop.schedule.manual[0, 0] = np.nan
    assert loop.scan(0.5 + error, 0.5) == checked(0.7, "first output", abs=1e-12)
    assert loop.scan(0.5 + error, 0.5) == checked(
        0.7 + gain * error * 0.05 / reset, "second output", abs=1e-9)


@pytest.mark.parametrize("slow", [20.0, 40.0])
def test_mid_ranging_cannot_avoid_an_overshoot(slow: float) -> None:
    """A fast element holds the value by a PI, a slow loop brings that element back to .6: it starts
    and ends there at no error, so that ∫e dt = 0, and what is missing first must be too much later.
    """
    scan, n = 0.2, 7500
    fast = Loop(scan, 2.0, 8.0, starts=0.6, value=0.5)
    mid = Loop(scan, 0.5, slow, starts=0.4, value=0.4)
    by_fast, by_slow = Lagged(scan, 0.5, 4.0, starts=0.3), Lagged(scan, 0.5, 4.0, starts=0.2)
    error, first = np.empty(n), np.empty(n)
    for k in range(n):
        value = by_fast.value + by_slow.value
        error[k], first[k] = 0.55 - value, fast.scan(0.55, value)
        by_fast.move(first[k])
        by_slow.move(mid.scan(1.0 - 0.6, 1.0 - first[k]))
    assert first.max() < 1.0
    assert first[-1] == checked(0.6, "the fast element at the end", abs=1e-6)
    assert scan * error.sum() == checked(0.0, "∫e dt [s]", abs=1e-6)
    assert error.min() < -1e-4


WINDUP = [(layout.UNLIMITED, 19.05, 13.24), (layout.OUTPUT, 1.49, 7.547)]


@pytest.mark.parametrize(("reset_from", "overshoot", "iae"), WINDUP, ids=["none", "external reset"])
def test_windup(reset_from: int, overshoot: float, iae: float) -> None:
    """K 1, τ 10, θ 1, Kc 5, Ti 8, output ±1.2, setpoint step 1, 120 s.

    Calculated at scans of .01 s, IAE as the sum over scans.
    """
    loop = Loop(DT, 5.0, 8.0, low=-1.2, high=1.2, span=2.0)
    loop.tune(reset_from=reset_from)
    _, value, output = close(loop, Lagged(DT, 1.0, 10.0, 1.0), 120.0, lambda t: 1.0)
    assert output.max() == checked(1.2, "highest output")
    assert 100.0 * (value.max() - 1.0) == checked(overshoot, "overshoot [%]", abs=0.005)
    area = DT * np.sum(np.abs(1.0 - value))
    assert area == checked(iae, "IAE", abs=0.005 if iae > 10.0 else 0.0005)


@pytest.mark.parametrize(("gain", "reset", "lag"), [(2.0, 4.0, 3.0), (0.5, 10.0, 3.0),
                                                    (6.0, 1.0, 20.0)])
@pytest.mark.parametrize("dt", [0.05, 0.5])
def test_the_closed_loop_is_that_of_another_library(gain: float, reset: float, lag: float,
                                                    dt: float) -> None:
    """python-control: (Kc(1 + dt/Ti/(z − 1))) and the process held between scans, unit feedback."""
    z = control.tf("z")
    z.dt = dt
    pi = gain * (1.0 + dt / reset / (z - 1.0))
    process = control.c2d(control.tf([1.0], [lag, 1.0]), dt, "zoh")
    n = 400
    times = dt * np.arange(n)
    expected = control.step_response(control.feedback(pi * process), times).outputs
    loop = Loop(dt, gain, reset, low=-20.0, high=20.0, span=2.0)
    _, value, output = close(loop, Lagged(dt, 1.0, lag), n * dt, lambda t: 1.0)
    assert np.max(np.abs(output)) < 20.0
    assert value == checked(expected, "value", abs=1e-8)


def test_at_a_fast_scan_it_is_the_continuous_loop() -> None:
    """The same against python-control's continuous PI loop, within the scan's first order."""
    gain, reset, lag, dt = 2.0, 4.0, 3.0, 0.002
    s = control.tf("s")
    continuous = control.feedback(gain * (1.0 + 1.0 / (reset * s)) / (lag * s + 1.0))
    loop = Loop(dt, gain, reset, low=-20.0, high=20.0, span=2.0)
    time, value, _ = close(loop, Lagged(dt, 1.0, lag), 15.0, lambda t: 1.0)
    expected = control.step_response(continuous, time).outputs
    assert value == checked(expected, "value", abs=2.0 * dt)
