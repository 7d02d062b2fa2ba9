"""The noise of a recorded signal, and how long a residual stays like its neighbours."""

import numpy as np

Array = np.ndarray

TO_DEVIATION = 1.4826
"""Median of |e| to the standard deviation of normal numbers: 1/Φ⁻¹(3/4)."""
LEAST = 3e-3
"""Of a signal's swing: neither transmitter nor model is taken to be better. An assumption."""
LEAST_OF_ALL = 1e-6
"""Of its largest value, for a signal that stands still. An assumption."""


def noise(time: Array, value: Array) -> tuple[float, str]:
    """(σ, where from) of a signal, from three neighbours each: how far the middle one lies from the
    straight line between the others.

    e = a·y₋ + (1 − a)·y₊ − y, σ = 1.4826·median|e|/√(a² + (1 − a)² + 1). Gasser, Sroka and
    Jennen-Steinmetz, Biometrika 73 (1986) 625, here with the median, which a few quick moves do not
    bias. `time` rises [s]. A signal recorded in steps q that mostly stands still has q/√12.
    """
    least = max(LEAST * float(np.ptp(value)), LEAST_OF_ALL * float(np.max(np.abs(value))), 1e-12)
    a = (time[2:] - time[1:-1]) / (time[2:] - time[:-2])
    e = a * value[:-2] + (1.0 - a) * value[2:] - value[1:-1]
    found = TO_DEVIATION * float(np.median(np.abs(e) / np.sqrt(a**2 + (1.0 - a)**2 + 1.0)))
    steps = np.abs(np.diff(value))
    moved = steps[steps > LEAST_OF_ALL * float(np.max(np.abs(value), initial=0.0))]
    stepped = float(np.min(moved)) / np.sqrt(12.0) if 0 < moved.size < 0.5 * steps.size else 0.0
    best = max((found, "neighbouring samples"), (stepped, "its resolution"), (least, "assumed"))
    return best


def autocorrelation(residual: Array, most: int | None = None) -> Array:
    """ρ_k = Σ e_i e_{i+k}/Σ e², from lag 0. The mean stays in: what a model leaves is to have none,
    and an offset is as alike as can be."""
    n = residual.size
    size = 1 << (2 * n - 1).bit_length()
    power = np.abs(np.fft.rfft(residual, size))**2
    sums = np.fft.irfft(power, size)[:min(n, most or n)]
    return np.asarray(sums / sums[0]) if sums[0] > 0.0 else np.eye(1, sums.size)[0]


def memory(residual: Array) -> float:
    """τ = 1 + 2Σρ_k, no less than 1: n samples are worth n/τ that know nothing of one another.

    Bayley and Hammersley, J. R. Statist. Soc. Suppl. 8 (1946) 184; the sum ends where that of a
    pair of lags is no longer positive: Geyer, Statist. Sci. 7 (1992) 473. Both from memory.
    """
    rho = autocorrelation(residual)
    pairs = rho[:rho.size // 2 * 2].reshape(-1, 2).sum(axis=1)
    ends = np.flatnonzero(pairs <= 0.0)
    return max(1.0, float(2.0 * pairs[:ends[0] if ends.size else pairs.size].sum() - 1.0))
