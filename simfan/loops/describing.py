"""Describing functions of an element with stick and play, and the swings they foretell.

An element with play b and resolution r moves once its stem is b/2 + r beyond it, and then to within
b/2 of it. Swung by a sine of amplitude A it climbs n steps of r and falls as many:

    N(A) = 2r/(πA)·Σ e^(−jφ_k),  sin φ_k = (b/2 + (k − n/2)·r)/A,  k = 1 … n

Without stick the play alone remains. The loop swings on where L(jω)·N(A) = −1: an estimate, which
takes what comes back to the element for a sine.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np

from simfan.steady.bench import Array

Response = Callable[[Array], Array]
STEPS = 6
"""Most steps of the resolution in half a swing that are looked at."""
AMPLITUDES = 160
FREQUENCIES = 600
LOWEST = 1e-4
"""Lowest frequency looked at, of half the scan's."""
LARGEST = 50.0
"""Amplitudes of the stem looked at, in gaps of the play."""


@dataclass(frozen=True)
class Cycle:
    """A swing that keeps itself up."""

    omega: float
    """[rad/s]."""
    amplitude: float
    """Of the stem, half its swing [1]."""
    steps: int
    """Of the resolution in half a swing; 0 for play alone."""
    first: complex
    """First harmonic of the position over that of the stem, N [1]."""

    @property
    def travel(self) -> float:
        """First harmonic of the position, from end to end [1]."""
        return 2.0 * abs(self.first) * self.amplitude


def describing(amplitude: Array, stick: float, backlash: float, steps: int) -> Array:
    """(n,) N(A) of an element [1]; for `steps` of 0 that of the play alone, nan where the stem does
    not make so many steps.

    Play, x = b/(2A): N = [π/2 + asin u + u√(1 − u²) − j·4x(1 − x)]/π, u = 1 − 2x. Gelb & Vander
    Velde, Multiple-Input Describing Functions (1968); from memory.
    """
    a = np.asarray(amplitude, dtype=float)
    if steps == 0:
        x = np.minimum(0.5 * backlash / a, 1.0)
        u = 1.0 - 2.0 * x
        return (0.5 * pi + np.arcsin(u) + u * np.sqrt(1.0 - u * u) - 4j * x * (1.0 - x)) / pi
    k = np.arange(1, steps + 1)
    least, most = reach(stick, backlash, steps)
    sines = (0.5 * backlash + (k - 0.5 * steps) * stick) / np.maximum(a[:, None], least)
    total = (np.sqrt(np.maximum(1.0 - sines * sines, 0.0)) - 1j * sines).sum(axis=1)
    return np.where((a >= least) & (a < most), 2.0 * stick / (pi * a) * total, np.nan)


def reach(stick: float, backlash: float, steps: int) -> tuple[float, float]:
    """Amplitudes of the stem at which the element makes so many steps: from, and below."""
    return 0.5 * (steps * stick + backlash), 0.5 * ((steps + 2) * stick + backlash)


def cycles(loop: Response, top: float, stick: float, backlash: float) -> tuple[Cycle, ...]:
    """Swings that come back after a nudge, smallest first; `loop` is L(ω) seen from the element,
    up to `top` [rad/s]."""
    omega = np.geomspace(LOWEST * top, top, FREQUENCIES)
    seen = loop(omega)
    found = []
    for steps, a in _amplitudes(stick, backlash):
        locus = -1.0 / describing(a, stick, backlash, steps)
        for w, x in _crossings(omega, seen, a, locus):
            if _comes_back(loop, w, x, stick, backlash, steps):
                n = complex(describing(np.array([x]), stick, backlash, steps)[0])
                found.append(Cycle(w, x, steps, n))
    return tuple(sorted(found, key=lambda c: c.amplitude))


def _amplitudes(stick: float, backlash: float) -> list[tuple[int, Array]]:
    """Number of steps → amplitudes of the stem to look at."""
    if stick == 0.0:
        gap = 0.5 * backlash
        return [(0, gap * (1.0 + np.geomspace(1e-4, LARGEST, AMPLITUDES)))] if gap else []
    found = []
    for steps in range(1, STEPS + 1):
        least, most = reach(stick, backlash, steps)
        share = np.geomspace(1e-5, 1.0 - 1e-9, AMPLITUDES)
        found.append((steps, least + share * (most - least)))
    return found


def _crossings(omega: Array, seen: Array, amplitude: Array, locus: Array
               ) -> list[tuple[float, float]]:
    """(ω, A) where the two curves cross, by straight lines in ln|·| and phase."""
    one, other = _nichols(seen), _nichols(locus)
    p, r = one[:-1, None], np.diff(one)[:, None]
    q, s = other[None, :-1], np.diff(other)[None, :]
    cross = (np.conj(r) * s).imag
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (np.conj(q - p) * s).imag / cross
        u = (np.conj(q - p) * r).imag / cross
    whole = (np.abs(r.imag) < pi) & (np.abs(s.imag) < pi)
    i, j = np.nonzero(whole & (t >= 0.0) & (t < 1.0) & (u >= 0.0) & (u < 1.0))
    t, u = t[i, j], u[i, j]
    return list(zip((omega[i] ** (1.0 - t) * omega[i + 1] ** t).tolist(),
                    (amplitude[j] * (1.0 - u) + amplitude[j + 1] * u).tolist(), strict=True))


def _nichols(values: Array) -> Array:
    """ln|·| + j·phase, phase from −2π up to 0."""
    return np.log(np.abs(values)) + 1j * (np.angle(values) % (2.0 * pi) - 2.0 * pi)


def _comes_back(loop: Response, w: float, a: float, stick: float, backlash: float, steps: int
                ) -> bool:
    """Loeb's criterion on F = 1 + N·L = U + jV: U_A·V_ω − U_ω·V_A > 0.

    Gelb & Vander Velde; from memory.
    """
    near = np.array([w * (1.0 - 1e-5), w * (1.0 + 1e-5)])
    seen, here = loop(near), complex(loop(np.array([w]))[0])
    sides = describing(np.array([a * (1.0 - 1e-6), a * (1.0 + 1e-6)]), stick, backlash, steps)
    n = complex(describing(np.array([a]), stick, backlash, steps)[0])
    by_a = complex(sides[1] - sides[0]) * here
    by_w = n * complex(seen[1] - seen[0])
    return by_a.real * by_w.imag - by_w.real * by_a.imag > 0.0
