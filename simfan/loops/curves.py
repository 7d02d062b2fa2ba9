"""What the pictures of a loop are drawn from: L over frequency at every point of the range, and the
answer to a small setpoint step at some of them."""

from collections.abc import Sequence
from math import ceil, pi

import numpy as np

from simfan.assemble.control import controller as described
from simfan.loop_answer import LoopCurves
from simfan.loops.margins import Controller, Margins
from simfan.loops.over_range import Loop
from simfan.steady.bench import Array

FREQUENCIES = 320
LOWEST = 1e-4
"""Lowest frequency drawn, of half the scan's."""
STEPS_SHOWN = 7
MOST_SAMPLES = 8192
"""Of a step answer that is followed; what is slower folds over it."""
FOLLOWED = 8.0
"""So many times the slowest Ti/(Kc·K) and lag."""
SHOWN = 14.0
"""Time shown, of the longest lag and dead time together."""
Tuning = Controller | Sequence[Controller]
"""One for all points, or one for each."""


def curves(loop: Loop, tuning: Tuning, judged: Sequence[Margins]) -> LoopCurves:
    """Of a tuning; `judged` are its margins at every point."""
    omega = np.geomspace(LOWEST, 1.0, FREQUENCIES) * pi / loop.scan
    last = len(loop.linear) - 1
    which = list(range(0, last + 1, max(1, ceil(last / (STEPS_SHOWN - 1)))))
    each = [tuning] * (last + 1) if isinstance(tuning, Controller) else list(tuning)
    samples = _samples(loop, each)
    shown = min(samples // 2, ceil(SHOWN * _longest(loop) / loop.scan) + 1)
    steps = _steps(loop, each, samples)[:, :shown]
    return LoopCurves(
        omega, list(loop.responses(tuning, omega)), loop.scan * np.arange(shown),
        [steps[k] if judged[k].stable else None for k in which], which)


def _steps(loop: Loop, each: Sequence[Controller], n: int) -> Array:
    """(n_points, n) reading after a setpoint step: Σ of the inverse Fourier transform of
    R·G/(1 + C·G), exact at the scans as far as it has died away where the transform begins anew."""
    omega = 2.0 * pi * np.arange(1, n // 2 + 1) / (n * loop.scan)
    process, reset = loop.process(omega), loop.reset(omega)
    resets = np.broadcast_to(reset, process.shape)
    weight = described(loop.case, loop.case.strategies[loop.name]).setpoint_weight
    there = np.array([_setpoint_path(c, weight, omega, r)
                      for c, r in zip(each, resets, strict=True)])
    back = np.array([c.response(omega, r) for c, r in zip(each, resets, strict=True)])
    closed = there * process / (1.0 + back * process)
    at_rest = np.ones((closed.shape[0], 1))
    return np.asarray(np.cumsum(np.fft.irfft(np.hstack([at_rest, closed]), n), axis=1))


def _setpoint_path(c: Controller, weight: float, omega: Array, reset: Array) -> Array:
    """(n,) output over setpoint: no derivative, Kc·(b + (1 − b)·F)/(1 − F·P), F the reset's lag."""
    a = c.scan / c.reset
    lagged = a / (np.exp(1j * omega * c.scan) - 1.0 + a)
    plain = Controller(c.gain, c.reset, c.scan).response(omega, reset)
    return np.asarray(plain * (weight + (1.0 - weight) * lagged))


def _samples(loop: Loop, each: Sequence[Controller]) -> int:
    """A power of two that follows the slowest answer, if it may."""
    slowest = max([_longest(loop), *(
        c.reset / abs(c.gain * p.gain) for c, p in zip(each, loop.processes, strict=True)
        if not p.unstable and p.gain)])
    wanted = FOLLOWED * slowest / loop.scan
    return int(min(MOST_SAMPLES, 2 ** max(8, ceil(np.log2(wanted)))))


def _longest(loop: Loop) -> float:
    """Lag and dead time of the slowest point, half a scan with them [s]."""
    return max((p.lag + p.dead_time for p in loop.processes if p.lag == p.lag),
               default=10.0 * loop.scan) + 0.5 * loop.scan
