"""Measures against the exact answers of textbook processes.

Second order with natural frequency 1 rad/s: y = 1 − e^{−ζt}·sin(ω_d t + arccos ζ)/√(1 − ζ²),
ω_d = √(1 − ζ²). Dead time θ then first order τ, unit step: e = 1 before θ, then e^{−(t−θ)/τ}.
The expected figures were worked out beforehand from these formulas with another program, at the
precision printed; closed forms stand beside them where there is one.
"""

import math

import control
import numpy as np
import pytest

from simfan.measures import change, tracking
from tests.published.record import checked

STEP = 0.001
times = np.arange(0.0, 80.0, STEP)

# ζ, overshoot [%], 2 % settling, 10–90 % rise, IAE, ISE, ITAE
SECOND_ORDER = [
    (0.5, 16.303, 8.0763, 1.6376, 1.713, 1.0000, 2.942),
    (0.3, 37.23, 11.230, 1.321, 2.367, 1.1333, 7.344),
]
STEPS = [(0.0, 1.0), (30.0, 60.0), (60.0, 30.0)]


def second_order(damping, time=times):
    """The exact unit step."""
    root = math.sqrt(1.0 - damping**2)
    wave = np.sin(root * time + math.acos(damping))
    return 1.0 - np.exp(-damping * time) * wave / root


def answer(time, value, first, last):
    params = change.Params(float(time[0]), first, last, 0.02, 1.0)
    return change.result(change.over(change.start(params), time[0], time, value))


def integrals(time, value, wanted):
    state = tracking.start(tracking.Params(float(time[0]), 0.02))
    return tracking.result(tracking.over(state, time[0], time, np.full_like(value, wanted), value))


@pytest.mark.parametrize("row", SECOND_ORDER, ids=lambda row: f"damping {row[0]}")
@pytest.mark.parametrize(("first", "last"), STEPS)
def test_second_order_step_from_any_value_to_any_value(row, first, last):
    damping, overshoot, settling, rise, iae, ise, itae = row
    span = last - first
    value = first + span * second_order(damping)
    got, sums = answer(times, value, first, last), integrals(times, value, last)
    assert 100.0 * got.overshoot == checked(overshoot, "overshoot [%]", abs=0.005)
    assert got.settling_time == checked(settling, "settling time [s]", abs=0.0005)
    assert got.rise_time == checked(rise, "rise time [s]", abs=0.0005)
    assert got.undershoot == checked(0.0, "undershoot", abs=1e-9)
    assert sums.iae / abs(span) == checked(iae, "IAE", abs=0.0005)
    assert sums.ise / span**2 == checked(ise, "ISE", abs=0.00005)
    assert sums.itae / abs(span) == checked(itae, "ITAE", abs=0.0005)


@pytest.mark.parametrize("damping", [0.2, 0.2155, 0.3, 0.5, 0.7])
def test_overshoot_and_squared_error_are_the_closed_forms(damping):
    """exp(−πζ/√(1−ζ²)) and (1 + 4ζ²)/(4ζ)."""
    value = second_order(damping)
    expected_overshoot = math.exp(-math.pi * damping / math.sqrt(1.0 - damping**2))
    expected_ise = (1.0 + 4.0 * damping**2) / (4.0 * damping)
    assert answer(times, value, 0.0, 1.0).overshoot == checked(
        expected_overshoot, "overshoot", abs=1e-6)
    assert integrals(times, value, 1.0).ise == checked(expected_ise, "ISE", abs=1e-6)


@pytest.mark.parametrize(("first", "last"), STEPS)
def test_quarter_decay(first, last):
    """ζ .2155: overshoot 49.99 %, each peak a quarter of the one before."""
    damping = 0.2155
    value = first + (last - first) * second_order(damping)
    peak = answer(times, value, first, last).overshoot
    later = times > 2.0 * math.pi / math.sqrt(1.0 - damping**2)  # past the first trough
    second_peak = answer(times[later], value[later], first, last).overshoot
    assert 100.0 * peak == checked(49.99, "overshoot [%]", abs=0.005)
    assert second_peak / peak == checked(0.25, "second peak over first", abs=0.0005)


@pytest.mark.parametrize(
    ("dead_time", "lag", "iae", "ise", "itae"),
    [(1.0, 1.0, 2.0, 1.5, 2.5), (2.0, 5.0, 7.0, 4.5, 37.0)],
)
@pytest.mark.parametrize(("first", "last"), STEPS)
def test_dead_time_then_first_order(dead_time, lag, iae, ise, itae, first, last):
    """θ + τ, θ + τ/2, θ²/2 + τθ + τ²."""
    error = np.where(times < dead_time, 1.0, np.exp(-(times - dead_time) / lag))
    span = last - first
    sums = integrals(times, last - span * error, last)
    assert sums.iae / abs(span) == checked(iae, "IAE", abs=1e-5)
    assert sums.ise / span**2 == checked(ise, "ISE", abs=1e-5)
    assert sums.itae / abs(span) == checked(itae, "ITAE", abs=1e-4)


@pytest.mark.parametrize("damping", [0.3, 0.5])
def test_from_zero_another_library_agrees(damping):
    """python-control 0.10 reads samples, we interpolate: they agree to a sample."""
    value = second_order(damping)
    theirs = control.step_info(value, times, yfinal=1.0)
    ours = answer(times, value, 0.0, 1.0)
    assert 100.0 * ours.overshoot == checked(theirs["Overshoot"], "overshoot [%]", abs=1e-4)
    assert ours.rise_time == checked(theirs["RiseTime"], "rise time [s]", abs=2.0 * STEP)
    assert ours.settling_time == checked(
        theirs["SettlingTime"], "settling time [s]", abs=2.0 * STEP)


@pytest.mark.parametrize(("first", "last", "theirs"), [(30.0, 60.0, 8.15), (60.0, 30.0, 100.0)])
def test_a_library_that_assumes_a_start_from_zero_is_wrong_elsewhere(first, last, theirs):
    """Why the initial value is explicit here: the true overshoot is 16.303 % both ways."""
    value = first + (last - first) * second_order(0.5)
    assert control.step_info(value, times, yfinal=last)["Overshoot"] == checked(
        theirs, "the other library's [%]", abs=0.005
    )
    assert 100.0 * answer(times, value, first, last).overshoot == checked(
        16.303, "overshoot [%]", abs=0.005)
