"""The largest gain that bounds on S and T allow, in closed form: the distance of 1 + kL from zero,
and from kL, is a quadratic in k at every frequency."""

from math import pi

import numpy as np

from simfan.steady.bench import Array

MOST_MT = 1.4
"""Mt, bounded too. Common practice, no source: 1.0 to 1.5."""
CAREFUL = 1.003
"""The search's frequencies lie coarser than those that judge: a little less Ms is sought."""
MOST_GAIN = 1e4
"""Kc of a loop whose Ms and Mt bound nothing."""


def most_gain(loop: Array, target: float, integrators: int = 1) -> float:
    """Largest factor k on loop responses (n_points, n_omega) that keeps S and T within their
    bounds from zero up to k, the least over all of them. With two integrators, where little gain
    is bad as well, the end of the widest band of good ones.

    |1 + kL| ≥ 1/Ms:  k²|L|² + 2k·Re L + 1 − 1/Ms² ≥ 0;
    |kL| ≤ Mt·|1 + kL|:  k²|L|²·(1 − 1/Mt²) + 2k·Re L + 1 ≥ 0
    """
    size, real = loop.real**2 + loop.imag**2, loop.real
    if integrators > 1:
        return _end_of_widest(_bad(size, real, 1.0 - (CAREFUL / target) ** 2)
                              + _bad(size * (1.0 - 1.0 / MOST_MT**2), real, 1.0))
    return min(_least_root(size, real, 1.0 - (CAREFUL / target) ** 2),
               _least_root(size * (1.0 - 1.0 / MOST_MT**2), real, 1.0))


def _least_root(a: Array, b: Array, c: float) -> float:
    """The least k > 0 at which one of a·k² + 2b·k + c falls through zero; a, c > 0. MOST_GAIN where
    none does."""
    inside = b * b - a * c
    some = (inside > 0.0) & (b < 0.0)
    return float((c / (np.sqrt(inside[some]) - b[some])).min(initial=MOST_GAIN))


def _bad(a: Array, b: Array, c: float) -> list[tuple[float, float]]:
    """Bands of k in which a·k² + 2b·k + c is below zero; a, c > 0."""
    inside = b * b - a * c
    some = (inside > 0.0) & (b < 0.0)
    root, a, b = np.sqrt(inside[some]), a[some], b[some]
    return list(zip(((-b - root) / a).tolist(), ((-b + root) / a).tolist(), strict=True))


def _end_of_widest(bad: list[tuple[float, float]]) -> float:
    """Upper end of the band of good k that is widest as a ratio, above the first bad one."""
    best, widest, top = 0.0, 1.0, None
    for low, high in sorted(bad):
        if top is not None and low > top and low / top > widest:
            best, widest = low, low / top
        top = high if top is None else max(top, high)
    return best


def winds_right(loop: Array, integrators: int) -> bool:
    """Whether 1 + L of stable plants turns a quarter for each integrator."""
    apart = 1.0 + loop
    turned = np.angle(apart[:, 1:] * apart[:, :-1].conj()).sum(axis=1)
    return bool((np.abs(turned - 0.5 * pi * integrators) < 0.25 * pi).all())


def rounded_down(gain: float) -> float:
    """Three digits, towards the safe side: what is typed in is what was tested."""
    digits = 10.0 ** (np.floor(np.log10(gain)) - 2.0)
    return float(f"{np.floor(gain / digits) * digits:.3g}")
