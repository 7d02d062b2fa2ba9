"""How far a loop is from going wrong: sensitivity and margins of the sampled controller.

    L(ω) = C(e^{jωT})·Σ_k H(ω + kω_s)·G(j(ω + kω_s)),  H(ω) = (1 − e^{−jωT})/(jωT), ω_s = 2π/T

is what the controller sees at its scans, hold and folding included; no dead time is approximated.
S = 1/(1 + L), Ms = max|S|; Mt = max|L/(1 + L)|.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np

from simfan.steady.bench import Array

Response = Callable[[Array], Array]
FOLDS = 6
"""Neighbouring bands of the spectrum that fold into the first, to either side."""
POINTS = 1500
FINER = 41
LOWEST = 1e-6
"""Lowest frequency looked at, of the highest a scan can see."""


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

        C = Kc/(1 − P·a/(z − 1 + a)) + Kc·N·(1 − z⁻¹)/(1 − d·z⁻¹),  a = T/Ti, d = e^{−NT/Td}
        """
        z = np.exp(1j * np.asarray(omega) * self.scan)
        a = self.scan / self.reset
        feedback = a / (z - 1.0 + a)
        forward = np.full(z.shape, self.gain, dtype=complex)
        if self.derivative > 0.0:
            decay = np.exp(-self.filter * self.scan / self.derivative)
            forward = forward + self.gain * self.filter * (1.0 - 1.0 / z) / (1.0 - decay / z)
        return (forward - (forward - self.gain) * feedback * position) / (1.0 - feedback * position)


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


def sampled(process: Response, omega: Array, scan: float) -> Array:
    """(n,) process with hold and sampler, folding included [1]."""
    total = np.zeros(omega.shape, dtype=complex)
    for k in range(-FOLDS, FOLDS + 1):
        w = omega + 2.0 * pi * k / scan
        total += _hold(w, scan) * process(w)
    return total


def _hold(omega: Array, scan: float) -> Array:
    x = 1j * omega * scan
    return np.where(x == 0.0, 1.0, -np.expm1(-x) / np.where(x == 0.0, 1.0, x))


def margins(process: Response, controller: Controller, unstable: int = 0,
            integrators: int = 0, position: Response | None = None) -> Margins:
    """Margins of a loop; `unstable` and `integrators` count the process's own such poles.

    The grid is made finer about the peak of |S| until Ms is good to some 1e-5.
    """
    top = pi / controller.scan
    omega = np.geomspace(LOWEST * top, top, POINTS)

    def loop(w: Array) -> Array:
        p = position(w) if position else 1.0
        return controller.response(w, p) * sampled(process, w, controller.scan)

    seen = loop(omega)
    omega, seen = _finer(loop, omega, seen, np.abs(1.0 / (1.0 + seen)))
    omega, seen = _finer(loop, omega, seen, np.abs(seen / (1.0 + seen)))
    crossover, phase = _crossing(omega, seen)
    return Margins(
        sensitivity=float(np.abs(1.0 / (1.0 + seen)).max()),
        complementary=float(np.abs(seen / (1.0 + seen)).max()),
        gain_margin=_gain_margin(omega, seen), phase_margin=phase,
        delay_margin=phase / crossover if phase is not None and crossover else None,
        crossover=crossover, stable=_stable(seen, unstable + 0.5 * (integrators + 1)))


def _finer(loop: Response, omega: Array, seen: Array, height: Array) -> tuple[Array, Array]:
    """The grid with more points about the highest place."""
    k = int(np.argmax(height))
    more = np.geomspace(omega[max(k - 1, 0)], omega[min(k + 1, omega.size - 1)], FINER)[1:-1]
    both, values = np.concatenate([omega, more]), np.concatenate([seen, loop(more)])
    order = np.argsort(both)
    return both[order], values[order]


def _crossing(omega: Array, seen: Array) -> tuple[float | None, float | None]:
    """(last frequency at which |L| falls through one, least phase above −π where it crosses)."""
    size = np.log(np.abs(seen))
    at = np.flatnonzero((size[:-1] > 0.0) != (size[1:] > 0.0))
    if at.size == 0:
        return None, None
    share = size[at] / (size[at] - size[at + 1])
    crossing = omega[at] + share * (omega[at + 1] - omega[at])
    angle = np.unwrap(np.angle(seen))
    phases = angle[at] + share * (angle[at + 1] - angle[at])
    away = (phases + pi + pi) % (2.0 * pi) - pi
    worst = int(np.argmin(np.abs(away)))
    return float(crossing[worst]), float(away[worst])


def _gain_margin(omega: Array, seen: Array) -> float | None:
    """1/|L| where L crosses the negative real axis, the nearest above one."""
    turns = np.flatnonzero((seen.imag[:-1] > 0.0) != (seen.imag[1:] > 0.0))
    share = seen.imag[turns] / (seen.imag[turns] - seen.imag[turns + 1])
    real = seen.real[turns] + share * (seen.real[turns + 1] - seen.real[turns])
    sizes = np.append(-real[real < 0.0], -seen.real[-1:][seen.real[-1:] < 0.0])
    above = sizes[(sizes > 0.0) & (sizes < 1.0)]
    return float(1.0 / above.max()) if above.size else None


def _stable(seen: Array, turns: float) -> bool:
    """Nyquist: from near zero to half the scan's frequency 1 + L turns half a turn for each pole
    of the open loop outside, a quarter for each integrator, the controller's own included."""
    angle = np.unwrap(np.angle(1.0 + seen))
    return bool(abs((angle[-1] - angle[0]) / pi - turns) < 0.25)
