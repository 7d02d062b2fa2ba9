"""Which inputs matter: Sobol indices of the distances, with bands from resampling.

The estimates are scipy's (Saltelli's sampling matrices on a scrambled Sobol sequence), for inputs
spread evenly over the unit cube: each over its own distribution.
"""

import numpy as np
from scipy.stats import bootstrap, qmc, sobol_indices

from simfan.stress.tally import Array, Evaluate
from simfan.stress_answer import STOPPED, Sensitivity

CONFIDENCE = 0.95
RESAMPLED = 500
"""Times for the bands."""
MOVED = 1e-3
"""A distance that changes less than this has no indices [of the limit's scale]."""
LEAST = 32
"""Points in each of Saltelli's matrices; with fewer the bands say nothing."""


def runs_of(inputs: int, runs: int) -> int:
    """How many of so many runs Saltelli's matrices make use of: n·(inputs + 2), n a power of two;
    0 where n would be below LEAST."""
    n = runs // (inputs + 2)
    return (1 << (n.bit_length() - 1)) * (inputs + 2) if n >= LEAST else 0


def sensitivity(evaluate: Evaluate, inputs: int, runs: int, seed: int,
                confidence: float = CONFIDENCE) -> list[Sensitivity]:
    """Indices of each requirement's distance g, from at most so many runs.

    First Sᵢ = V(E(g | xᵢ))/V(g), total Tᵢ = E(V(g | all but xᵢ))/V(g). A run that stopped on its
    numbers counts like the worst that came to its end. Raises ValueError for too few runs.
    """
    used = runs_of(inputs, runs)
    if not used:
        raise ValueError(f"runs: got {runs}, allowed: {LEAST * (inputs + 2)} and more")
    n = used // (inputs + 2)
    pair = qmc.Sobol(2 * inputs, rng=np.random.default_rng([seed, 2])).random(n)
    a, b = pair[:, :inputs], pair[:, inputs:]
    swapped = [np.where(np.arange(inputs) == i, b, a) for i in range(inputs)]
    g = ended(np.asarray(evaluate(np.vstack([a, b, *swapped])), dtype=float))
    parts = g.reshape(inputs + 2, n, -1)
    values, bands = _indices(parts), _bands(parts, confidence, np.random.default_rng([seed, 3]))
    still = np.ptp(g, axis=0) < MOVED
    values[:, still], bands[:, still] = np.nan, np.nan
    return [Sensitivity(k, values[0, k], bands[0, k], values[1, k], bands[1, k], confidence, used)
            for k in range(g.shape[1])]


def ended(distances: Array) -> Array:
    """(n, m) distances, those of stopped runs set to the worst of the others."""
    stopped = distances <= STOPPED
    least = np.min(np.where(stopped, np.inf, distances), axis=0)
    return np.where(stopped, np.where(np.isfinite(least), least, 0.0), distances)


def _indices(g: Array) -> Array:
    """(2, m, inputs) first and total, from distances (inputs + 2, n, m): at A, at B, at A with one
    column of B. A single input makes all of it."""
    inputs, n, m = len(g) - 2, g.shape[1], g.shape[2]
    if inputs == 1:
        return np.ones((2, m, 1))
    found = sobol_indices(func={"f_A": g[0].T, "f_B": g[1].T, "f_AB": g[2:].transpose(0, 2, 1)},
                          n=n)
    return np.stack([found.first_order, found.total_order]).reshape(2, m, inputs)


def _bands(g: Array, confidence: float, rng: np.random.Generator) -> Array:
    """(2, m, inputs, 2) both ends of the band of each index, points drawn anew with return."""
    found = bootstrap((np.arange(g.shape[1]),), lambda at: _indices(g[:, at]),
                      n_resamples=RESAMPLED, confidence_level=confidence, method="percentile",
                      vectorized=False, rng=rng).confidence_interval
    return np.stack([found.low, found.high], axis=-1)
