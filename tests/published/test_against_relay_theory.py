"""Where a process swings: ultimate gain and period, and what a relay test makes of them.

1/(s+1)ⁿ turns by 180° at tan(π/n), where 1/|G| = cos(π/n)^−n; with dead time, worked out beforehand
with another program. Under a relay ±d with hysteresis ±ε, K·e^(−Ls)/(Ts + 1) swings exactly by

    a = dK(1 − e^(−L/T)) + ε·e^(−L/T),  P = 2L + 2T·ln((dK + a)/(dK − ε))

(piecewise exponentials); without hysteresis P = 2T·ln(2e^(L/T) − 1). The relay's describing
function gives Ku = 4d/(π√(a² − ε²)); Åström & Hägglund, Advanced PID Control (2006), from memory.
On such a plant that lies too low: an estimate.
"""

from collections.abc import Callable
from math import exp, log

import control
import numpy as np
import pytest

from simfan.errors import RunError
from simfan.loops.identify import relay
from simfan.loops.margins import ultimate
from simfan.loops.models import FirstOrder
from simfan.steady.bench import Array
from tests.loops import Lagged, Loop, close
from tests.published.record import checked

TOP = 100.0
SCAN, AMPLITUDE = 1e-3, 0.4


def equal_lags(n: int) -> Callable[[Array], Array]:
    """1/(s + 1)ⁿ."""
    return lambda omega: 1.0 / (1j * omega + 1.0) ** n


# process, Ku, Pu [s], printed to
ULTIMATE = [
    ("1/(s+1)³", equal_lags(3), 8.0, 3.6276, 5e-5),
    ("1/(s+1)⁴", equal_lags(4), 4.0, 6.2832, 5e-5),
    ("e^-s/(s+1)", FirstOrder(1.0, 1.0, 1.0).response, 2.26183, 3.09706, 5e-6),
    ("e^-s/(5s+1)", FirstOrder(1.0, 5.0, 1.0).response, 8.50242, 3.72076, 5e-6),
]


@pytest.mark.parametrize("row", ULTIMATE, ids=[row[0] for row in ULTIMATE])
def test_ultimate_gain_and_period(
    row: tuple[str, Callable[[Array], Array], float, float, float]) -> None:
    name, process, gain, period, within = row
    found = ultimate(process, TOP)
    assert found.gain == checked(gain, f"{name}: Ku", abs=within)
    assert found.period == checked(period, f"{name}: Pu [s]", abs=within)


def test_a_process_that_turns_too_little_has_no_ultimate_gain() -> None:
    """One lag turns by 90° at the most, two by 180° never reached."""
    for few in (1, 2):
        with pytest.raises(RunError, match="less than 180°"):
            ultimate(equal_lags(few), TOP)


# T [s], a/d, P [s], Ku found, how far below the true one [%]; K 1, L 1 s
RELAY = [(1.0, 0.63212, 2.9798, 2.0142, 10.9), (5.0, 0.18127, 3.6659, 7.0240, 17.4)]


@pytest.mark.parametrize("row", RELAY, ids=["lag 1", "lag 5"])
def test_a_relay_test_run_by_the_controller(row: tuple[float, float, float, float, float]) -> None:
    """The kernel's controller with its gain beyond all bounds, scanned each ms, is the relay. It
    switches up to a scan late, so that a and P are those of up to a ms more of dead time."""
    lag, expected_swing, expected_period, expected_gain, expected_low = row
    loop = Loop(SCAN, 1.0, 1.0, low=0.5 - AMPLITUDE, high=0.5 + AMPLITUDE, starts=0.5, value=0.5)
    loop.tune(gain=1e12, reset=1e12)
    plant = Lagged(SCAN, 1.0, lag, 1.0, starts=0.499)
    time, value, output = close(loop, plant, 24.0, lambda t: 0.5)
    found = relay(time, value, output)
    swing = 0.5 * np.ptp(value[time > 12.0]) / AMPLITUDE
    (a, p), (a_late, p_late) = swings(lag, 1.0), swings(lag, 1.0 + SCAN)
    assert swing == checked(expected_swing, f"T {lag:g}: a/d", abs=a_late - a + 5e-6)
    assert found.period == checked(expected_period, f"T {lag:g}: P [s]", abs=p_late - p + 5e-5)
    assert found.gain == checked(expected_gain, f"T {lag:g}: 4d/(πa)", rel=a_late / a - 1.0 + 3e-5)
    true = ultimate(FirstOrder(1.0, lag, 1.0).response, TOP).gain
    assert 100.0 * (1.0 - found.gain / true) == checked(
        expected_low, f"T {lag:g}: Ku too low by [%]", abs=0.05 + 100.0 * (a_late / a - 1.0))


def swings(lag: float, dead_time: float, hysteresis: float = 0.0) -> tuple[float, float]:
    """(a, P) of K 1, d 1."""
    decay = exp(-dead_time / lag)
    a = 1.0 - decay + hysteresis * decay
    return a, 2.0 * dead_time + 2.0 * lag * log((1.0 + a) / (1.0 - hysteresis))


def switched(lag: float, hysteresis: float, noise: float = 0.0, seed: int = 0
             ) -> tuple[Array, Array, Array]:
    """A relay ±1 with hysteresis about zero on K 1, L 1 s: (time, value seen, output)."""
    plant, n = Lagged(SCAN, 1.0, lag, 1.0), round(30.0 / SCAN)
    value, output = np.empty(n), np.empty(n)
    disturbed = noise * np.random.default_rng(seed).standard_normal(n)
    u = 1.0
    for k in range(n):
        value[k] = plant.value + disturbed[k]
        u = -1.0 if value[k] > hysteresis else 1.0 if value[k] < -hysteresis else u
        output[k] = u
        plant.move(u)
    return SCAN * np.arange(n), value, output


@pytest.mark.parametrize("lag", [1.0, 5.0])
@pytest.mark.parametrize("hysteresis", [0.0, 0.05, 0.1])
def test_hysteresis_makes_the_swing_larger_and_slower(lag: float, hysteresis: float) -> None:
    """Closed form above; python-control's describing function: Ku = −1/Re(−1/N(a))."""
    time, value, output = switched(lag, hysteresis)
    found = relay(time, value, output, hysteresis)
    a, period = swings(lag, 1.0, hysteresis)
    a_late, late = swings(lag, 1.0 + SCAN, hysteresis)
    assert 0.5 * np.ptp(value[time > 15.0]) == checked(a, "a", abs=a_late - a + 1e-9)
    assert found.period == checked(period, "P [s]", abs=late - period + 1e-9)
    seen = control.relay_hysteresis_nonlinearity(1.0, hysteresis).describing_function(a)
    assert found.gain == checked(1.0 / (1.0 / seen).real, "Ku", rel=4.0 * (a_late / a - 1.0))


def test_a_relay_that_chatters_in_noise_is_refused() -> None:
    """Noise of 2 % of the relay's output switches it on each crossing; a hysteresis three times as
    large makes it swing evenly, earlier than without noise, later than without hysteresis."""
    with pytest.raises(RunError, match="even swing"):
        relay(*switched(5.0, 0.0, noise=0.02))
    time, value, output = switched(5.0, 0.06, noise=0.02)
    assert swings(5.0, 1.0)[1] < relay(time, value, output, 0.06).period < swings(5.0, 1.0, 0.06)[1]
