"""How far a loop is from going wrong: sensitivity and margins of the sampled controller.

    L(ω) = C(e^{jωT})·G(e^{jωT})

is what the controller sees at its scans: G is the process with its hold and sampler, exact; no dead
time is approximated. S = 1/(1 + L), Ms = max|S|; Mt = max|L/(1 + L)|.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np
from scipy.optimize import brentq

from simfan.errors import RunError
from simfan.loops.models import Ultimate
from simfan.steady.bench import Array

Response = Callable[[Array], Array]
POINTS = 1500
FINER = 41
LOWEST = 1e-6
"""Lowest frequency looked at, of the highest; lower still until an integrating |L| is great."""
GREAT = 100.0
"""|L| there: far enough from −1 that what is lower turns no more."""


@dataclass(frozen=True)
class Controller:
    """A PID on spans as the kernel runs it, once a scan."""

    gain: float
    """[1]; negative where more output lowers the value."""
    reset: float
    """Ti [s]."""
    scan: float
    """T [s]."""
    derivative: float = 0.0
    """Td [s]."""
    filter: float = 8.0
    """N."""

    def response(self, omega: Array, position: Array | float = 1.0) -> Array:
        """(n,) output over error, C(e^{jωT}) [1]; `position` is the element's over the output,
        where the external reset is taken from there.

        C = (Kc + (1 − f)·D)/(1 − P·f),  f = a/(z − 1 + a), a = T/Ti,
        D = Kc·N·(1 − z⁻¹)/(1 − d·z⁻¹), d = e^{−NT/Td}
        """
        z = np.exp(1j * np.asarray(omega) * self.scan)
        a = self.scan / self.reset
        feedback = a / (z - 1.0 + a)
        forward = np.full(z.shape, self.gain, dtype=complex)
        if self.derivative > 0.0:
            decay = np.exp(-self.filter * self.scan / self.derivative)
            forward = forward + self.gain * self.filter * (1.0 - 1.0 / z) / (1.0 - decay / z)
        return (forward - (forward - self.gain) * feedback) / (1.0 - feedback * position)


@dataclass(frozen=True)
class Margins:
    """Of one loop at one point."""

    sensitivity: float
    """Ms [1]."""
    complementary: float
    """Mt [1]."""
    gain_margin: float | None
    """Factor on the gain at which the loop begins to swing [1]; None where none does."""
    phase_margin: float | None
    """[rad]; None where |L| never falls through one."""
    delay_margin: float | None
    """Largest dead time to add [s]."""
    crossover: float | None
    """[rad/s]."""
    stable: bool
    """By the winding of 1 + L about zero and the plant's own unstable poles."""


def margins(process: Response, controller: Controller, unstable: int = 0,
            integrators: int = 0, position: Response | None = None) -> Margins:
    """Margins of a loop around a process as its scans see it.

    `unstable` and `integrators` count the process's own such poles; `position` is the element's
    over the output, at the scans, where the external reset is taken from there.
    """
    def loop(w: Array) -> Array:
        return controller.response(w, position(w) if position else 1.0) * process(w)

    return around(loop, pi / controller.scan, unstable + 0.5 * (integrators + 1))


def around(loop: Response, top: float, turns: float) -> Margins:
    """Margins of any loop response L(ω) up to `top` [rad/s]: half the scan's frequency, or where
    nothing of a continuous loop is left.

    `turns` are the half turns of 1 + L of a stable loop: one for each unstable pole of L, a half
    for each integrator. The grid is made finer about the peaks until Ms is good to some 1e-5.
    """
    return around_each(lambda w: loop(w[0])[None], top, np.array([turns], dtype=float))[0]


def around_each(loops: Response, top: float, turns: Array) -> tuple[Margins, ...]:
    """The same of n loops at once: `loops` takes frequencies (1, n_omega) for all of them or
    (n, n_omega), and gives (n, n_omega); `turns` is (n,)."""
    omega = np.geomspace(_lowest(loops, top, turns), top, POINTS, axis=1)
    if np.all(omega[:, 0] == omega[0, 0]):
        omega = omega[:1]
    seen = loops(omega)
    omega = np.broadcast_to(omega, seen.shape)
    omega, seen = _finer(loops, omega, seen, np.abs(1.0 / (1.0 + seen)))
    omega, seen = _finer(loops, omega, seen, np.abs(seen / (1.0 + seen)))
    apart = np.abs(1.0 + seen)
    highest = (1.0 / apart).max(axis=1), (np.abs(seen) / apart).max(axis=1)
    return tuple(Margins(float(ms), float(mt), _gain_margin(s), *_crossed(w, s), bool(stable))
                 for ms, mt, w, s, stable in zip(*highest, omega, seen, _stable(seen, turns),
                                                 strict=True))


def ultimate(process: Response, top: float) -> Ultimate:
    """Where a proportional controller alone begins to swing: Ku = 1/|G|, Pu = 2π/ω at the crossing
    of the negative real axis with the largest |G|.

    `process` as in `around`, of one sign. Raises RunError where it never turns so far.
    """
    omega = np.geomspace(LOWEST * top, top, POINTS)
    seen = process(omega)
    turned = np.flatnonzero((seen.imag[:-1] > 0.0) != (seen.imag[1:] > 0.0))
    turned = turned[seen.real[turned] < 0.0]
    if not turned.size:
        raise RunError("no proportional gain makes this loop swing: its process turns by less than "
                       "180° up to the frequencies that count")
    k = turned[np.argmax(np.abs(seen[turned]))]
    at = float(brentq(lambda w: process(np.array([w]))[0].imag, omega[k], omega[k + 1]))
    return Ultimate(float(1.0 / abs(process(np.array([at]))[0])), 2.0 * pi / at)


def _lowest(loops: Response, top: float, turns: Array) -> Array:
    """(n,) where an integrating loop is great; sixteen decades below the top at the least."""
    low = np.full(turns.size, LOWEST * top)
    while True:
        little = (np.abs(loops(low[:, None])[:, 0]) < GREAT) & (turns != 0.0)
        little &= low > 1e-16 * top
        if not little.any():
            return low
        low[little] *= 0.1


def _finer(loops: Response, omega: Array, seen: Array, height: Array) -> tuple[Array, Array]:
    """The grids with more points about their highest places."""
    row, k = np.arange(len(seen)), np.argmax(height, axis=1)
    more = np.geomspace(omega[row, np.maximum(k - 1, 0)],
                        omega[row, np.minimum(k + 1, omega.shape[1] - 1)], FINER, axis=1)[:, 1:-1]
    both, values = np.hstack([omega, more]), np.hstack([seen, loops(more)])
    order = np.argsort(both, axis=1, kind="stable")
    return np.take_along_axis(both, order, 1), np.take_along_axis(values, order, 1)


def _crossed(omega: Array, seen: Array
             ) -> tuple[float | None, float | None, float | None]:
    """(phase margin [rad], delay margin [s], crossover [rad/s]) of one loop."""
    where, phase = _crossings(omega, seen)
    if not where.size:
        return None, None, None
    worst = int(np.argmin(np.abs(_about(phase))))
    return (float(_about(phase)[worst]), float((phase % (2.0 * pi) / where).min()),
            float(where[worst]))


def _crossings(omega: Array, seen: Array) -> tuple[Array, Array]:
    """(frequencies at which |L| passes one, phase above −π at each [rad])."""
    above = np.abs(seen) > 1.0
    at = np.flatnonzero(above[:-1] != above[1:])
    size, after = np.log(np.abs(seen[at])), np.log(np.abs(seen[at + 1]))
    share = size / (size - after)
    return (omega[at] + share * (omega[at + 1] - omega[at]),
            np.angle(seen[at]) + share * np.angle(seen[at + 1] / seen[at]) + pi)


def _about(phase: Array) -> Array:
    """The same angle between −π and π."""
    return (phase + pi) % (2.0 * pi) - pi


def _gain_margin(seen: Array) -> float | None:
    """1/|L| where L crosses the negative real axis, the nearest above one."""
    turns = np.flatnonzero((seen.imag[:-1] > 0.0) != (seen.imag[1:] > 0.0))
    share = seen.imag[turns] / (seen.imag[turns] - seen.imag[turns + 1])
    real = seen.real[turns] + share * (seen.real[turns + 1] - seen.real[turns])
    if abs(seen[-1].imag) < 1e-6 * abs(seen[-1].real):  # half the scan's frequency: L is real
        real = np.append(real, seen[-1].real)
    above = -real[(real < 0.0) & (real > -1.0)]
    return float(1.0 / above.max()) if above.size else None


def _stable(seen: Array, turns: Array) -> Array:
    """(n,) Nyquist: from near zero to the top 1 + L turns half a turn for each pole of the open
    loop outside, a quarter for each integrator, the controller's own included."""
    apart = 1.0 + seen
    turned = np.angle(apart[:, 1:] * apart[:, :-1].conj()).sum(axis=1)
    return np.asarray(np.abs(turned / pi - turns) < 0.25)
