"""Limit cycles foretold from an element's stick and play.

With play alone by its describing function. With stick the element stands, jumps by its resolution r
and stands: a square wave, up for a share δ of the period, whose harmonics all come back. It keeps
itself up where the stem is r + b further at the jump up than at the jump down,

    Σ (1 − cos 2πkδ)/k · Im L(kω) = −(π/2)·(1 + b/r),  k = 1, 2, 3 …

Tsypkin, Relay Control Systems (1984); from memory. Where integral action lets L grow without bound
at low frequencies there always is such a swing: a resolution makes a self-regulating loop swing,
play alone does not (McMillan, Tuning and Control Loop Performance, 2012; as published). The period
is shortest for δ = ½; the setpoint decides δ.
"""

from dataclasses import dataclass, replace
from math import pi

import numpy as np
from scipy.optimize import brentq

from simfan.loops.describing import Response
from simfan.loops.linear import Linear
from simfan.loops.margins import Controller
from simfan.steady.bench import Array

GRID = 1500
LOWEST = 1e-5
"""Lowest frequency looked at, of half the scan's."""
SOUGHT = 240
"""Periods at which the sum is looked at first."""
HARMONICS = 400
"""Of the square wave that are counted, up to half the scan's frequency."""
MOMENTS = 400
"""Of a period at which a wave is looked at."""
TOUCH = 0.02
"""Of its threshold, that the stem's wave may seem to touch early."""


@dataclass(frozen=True)
class Square:
    """A swing of one step up and one down."""

    omega: float
    """[rad/s]."""
    share: float
    """δ, of the period in which the element stands up [1]."""

    def harmonics(self, stick: float, n: int) -> tuple[Array, Array]:
        """(kω [rad/s], c_k): the position is 2·Re Σ c_k·e^(jkωt), up from t = 0."""
        k = np.arange(1, n + 1)
        return k * self.omega, stick * (1.0 - np.exp(-2j * pi * k * self.share)) / (2j * pi * k)


def square(loop: Response, top: float, stick: float, backlash: float, share: float = 0.5
           ) -> Square | None:
    """The swing of one step of an element, or None where the loop makes none.

    `loop` is L(ω) seen from the element, up to `top` [rad/s].
    """
    seen = _tabled(loop, top)

    def amiss(w: float) -> float:
        k = np.arange(1, min(int(top / w), HARMONICS) + 1)
        weight = (1.0 - np.cos(2.0 * pi * k * share)) / k
        return float((weight * seen(k * w).imag).sum() + 0.5 * pi * (1.0 + backlash / stick))

    grid = np.geomspace(10.0 * LOWEST * top, 0.5 * top, SOUGHT)
    values = np.array([amiss(w) for w in grid])
    for i in np.flatnonzero((values[:-1] < 0.0) & (values[1:] >= 0.0))[::-1]:
        found = Square(float(brentq(amiss, grid[i], grid[i + 1])), share)
        if _holds(found, seen, top, stick, backlash):
            return found
    return None


def _tabled(loop: Response, top: float) -> Response:
    """The same by straight lines in ln|L| and phase over ln ω."""
    omega = np.geomspace(LOWEST * top, top, GRID)
    values = loop(omega)
    where, size, phase = np.log(omega), np.log(np.abs(values)), np.unwrap(np.angle(values))

    def seen(w: Array) -> Array:
        at = np.log(w)
        return np.exp(np.interp(at, where, size) + 1j * np.interp(at, where, phase))

    return seen


def _holds(found: Square, loop: Response, top: float, stick: float, backlash: float) -> bool:
    """Whether the stem reaches its thresholds at the jumps and no earlier, and no second one."""
    n = min(int(top / found.omega), HARMONICS)
    omega, c = found.harmonics(stick, n)
    t = np.arange(MOMENTS) / MOMENTS
    x = -2.0 * (loop(omega) * c * np.exp(2j * pi * t[:, None] * np.arange(1, n + 1))).real.sum(1)
    up, down = float(x[0]), float(x[round(found.share * MOMENTS) % MOMENTS])
    before_up, before_down = x[t > found.share + 0.02], x[(t > 0.02) & (t < found.share)]
    slack, room = TOUCH * stick, stick * (1.0 + 2.0 * TOUCH)
    return bool(before_up.max() < up + slack and before_down.min() > down - slack
                and x.max() < up + room and x.min() > down - room)


def seen_from(lin: Linear, element: int, tuning: Controller, by_its_position: bool) -> Response:
    """L(ω) round one element: from its position through plant, reading, scans and controller to its
    stem, the other elements following as they do.

        C·G_a/(1 + C·Σ G_others);  with the reset taken from this element's position
        (F·G_a − P·f)/(1 + F·Σ G_others), F the controller without its feedback f, P stem over
        output
    """
    alone = np.zeros(lin.share.size)
    alone[element] = lin.share[element]
    own, rest = replace(lin, share=alone), replace(lin, share=lin.share - alone)

    def loop(omega: Array) -> Array:
        through = own.sampled(omega, tuning.scan)
        others = rest.sampled(omega, tuning.scan) if rest.share.any() else 0.0
        if by_its_position:
            forward, feedback = _apart(tuning, omega)
            stem = lin.position(omega, tuning.scan, element)
            return np.asarray((forward * through - stem * feedback) / (1.0 + forward * others))
        seen = tuning.response(omega)
        return np.asarray(seen * through / (1.0 + seen * others))

    return loop


def _apart(tuning: Controller, omega: Array) -> tuple[Array, Array]:
    """(output over error with the reset signal held, output over reset signal)."""
    a = tuning.scan / tuning.reset
    return tuning.response(omega, 0.0), a / (np.exp(1j * omega * tuning.scan) - 1.0 + a)


def by_position(lin: Linear, element: int, omega: Array) -> Array:
    """(n,) reading over an element's position at jω, as a recorder sees it [span]."""
    s = 1j * np.asarray(omega, dtype=float)
    states = np.linalg.solve(s[:, None, None] * np.eye(lin.a.shape[0]) - lin.a,
                             lin.b[:, element].astype(complex)[:, None])[..., 0]
    return np.asarray((states @ lin.c + lin.d[element]) * np.exp(-s * lin.reading_dead_time))


def swing(found: Square, lin: Linear, element: int, stick: float) -> float:
    """Of the reading, from peak to peak [span]."""
    omega, c = found.harmonics(stick, HARMONICS)
    turn = np.exp(2j * pi * np.linspace(0.0, 1.0, MOMENTS)[:, None] * np.arange(1, HARMONICS + 1))
    return float(np.ptp((2.0 * by_position(lin, element, omega) * c * turn).real.sum(axis=1)))
