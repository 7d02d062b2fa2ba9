"""Play and stick of an element: describing functions, and what they do to a loop.

Describing function of play from textbooks, printed for a gap of 1 and an amplitude of 2, and from
python-control; both against the kernel's own element, swung by a sine. A resolution limit makes a
self-regulating PI loop swing, play alone does not: McMillan 2012, as published; the swing
was worked out beforehand with another program.
"""

from math import pi

import control
import numpy as np
import pytest

from simfan.kernel import devices
from simfan.loops.describing import cycles, describing, reach
from simfan.loops.limit_cycle import square
from simfan.steady.bench import Array
from tests.loops import Lagged, Loop
from tests.published.record import checked

SCAN = 0.01
MOMENTS = 20_000


def positions(stem: Array, backlash: float, stick: float, start: float) -> Array:
    """(n,) of the kernel's element behind its stem."""
    y, found = start, np.empty(stem.size)
    for k, x in enumerate(stem.tolist()):
        y = devices.unstuck(y, devices.dragged(y, x, backlash), stick)
        found[k] = y
    return found


def swung(amplitude: float, backlash: float, stick: float, start: float = 0.0) -> complex:
    """First harmonic of the kernel's element over that of its stem, once it repeats."""
    phase = 2.0 * pi * np.arange(2 * MOMENTS) / MOMENTS
    y = positions(amplitude * np.sin(phase), backlash, stick, start)[MOMENTS:]
    return complex(2.0 * np.mean(y * np.exp(-1j * phase[MOMENTS:])) * 1j / amplitude)


def test_play_at_twice_its_gap() -> None:
    """Printed: .804499 − .238732j for a gap of 1 and an amplitude of 2."""
    printed = 0.804499 - 0.238732j
    assert complex(describing(np.array([2.0]), 0.0, 1.0, 0)[0]) == checked(printed, "N", abs=5e-7)
    assert swung(2.0, 1.0, 0.0) == checked(printed, "the kernel's element", abs=2e-4)


@pytest.mark.parametrize("amplitude", [0.55, 1.0, 3.0, 20.0])
def test_play_at_other_amplitudes(amplitude: float) -> None:
    """Gap of 1; python-control's `friction_backlash_nonlinearity`."""
    expected = control.friction_backlash_nonlinearity(1.0).describing_function(amplitude)
    assert complex(describing(np.array([amplitude]), 0.0, 1.0, 0)[0]) == checked(
        expected, "N", abs=1e-9)
    assert swung(amplitude, 1.0, 0.0) == checked(expected, "the kernel's element", abs=2e-4)


@pytest.mark.parametrize("backlash", [0.0, 0.3, 1.0, 3.0])
def test_stick_makes_steps(backlash: float) -> None:
    """Resolution 1, at amplitudes of one to four steps in half a swing: the kernel's element, which
    starts half a step off its middle where their number is odd."""
    for steps in (1, 2, 3, 4):
        least, most = reach(1.0, backlash, steps)
        for amplitude in (0.9 * least + 0.1 * most, 0.1 * least + 0.9 * most):
            expected = complex(describing(np.array([amplitude]), 1.0, backlash, steps)[0])
            assert swung(amplitude, backlash, 1.0, 0.5 * (steps % 2)) == checked(
                expected, f"N at {amplitude:.4g}", abs=2e-3)


def loop(omega: Array) -> Array:
    """K 1, τ 8 s, θ 1 s, PI 4, 8 s: L = e^−s/(2s)."""
    s = 1j * np.asarray(omega)
    return 4.0 * (1.0 + 1.0 / (8.0 * s)) * np.exp(-s) / (8.0 * s + 1.0)


def closed(backlash: float, stick: float) -> tuple[Array, Array]:
    """(value, position) of the second half of 400 s: the kernel's controller and element round that
    process, the setpoint such that the element swings evenly about it after the first kick."""
    controller = Loop(SCAN, 4.0, 8.0, starts=0.5, value=0.5)
    plant = Lagged(SCAN, 1.0, 8.0, 1.0, starts=0.5)
    value, position, y = np.empty(40_000), np.empty(40_000), 0.5
    for k in range(value.size):
        value[k] = plant.value
        stem = controller.scan(0.55 + backlash / 6.0, plant.value)
        y = devices.unstuck(y, devices.dragged(y, stem, backlash), stick)
        position[k] = y
        plant.move(y)
    return value[20_000:], position[20_000:]


def test_play_alone_comes_to_rest() -> None:
    """Gap .1 of the output."""
    value, position = closed(0.1, 0.0)
    assert np.ptp(position) == 0.0
    assert value[-1] == checked(0.55 + 0.1 / 6.0, "value", abs=1e-3)
    assert cycles(loop, pi / SCAN, 0.0, 0.1) == ()


@pytest.mark.parametrize("backlash", [0.0, 0.02, 0.05])
def test_a_resolution_limit_swings_without_end(backlash: float) -> None:
    """Resolution r = .1. The stem runs in ramps of r/4 a second, so that the period is
    P = 8(1 + b/r) + 4 s, and the value's swing r·tanh(P/4τ). The describing function estimates."""
    stick = 0.1
    period = 8.0 * (1.0 + backlash / stick) + 4.0
    swing = stick * np.tanh(period / 32.0)
    value, position = closed(backlash, stick)
    ups = np.flatnonzero(np.diff(position) > 0.5 * stick)
    found = square(loop, pi / SCAN, stick, backlash)
    assert found is not None
    assert 2.0 * pi / found.omega == checked(period, "period foretold [s]", rel=1e-4)
    assert SCAN * np.mean(np.diff(ups)) == checked(period, "period of the run [s]", rel=0.02)
    assert np.ptp(value) == checked(swing, "swing of the run", rel=0.01)
    estimate, = cycles(loop, pi / SCAN, stick, backlash)
    assert 2.0 * pi / estimate.omega == checked(
        period, "period by the describing function [s]", rel=0.05)
    if backlash == 0.0:
        assert np.ptp(value) == checked(0.036, "swing of the run, printed", abs=5e-4)
