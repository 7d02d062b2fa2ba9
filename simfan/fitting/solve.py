"""The least-squares search, and how sure its end is."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import qmc
from scipy.stats import t as student

from simfan.fit_answer import CONFIDENCE, Search
from simfan.fitting.model import Array
from simfan.fitting.noise import memory
from simfan.fitting.sensitivity import BAD, Scaled

MOST_STEPS = 25
"""Of one search."""
SPREAD = 0.7
"""Other starts lie within so much of the first on the scale of the search: a factor 2."""
PRECISE, ROUGH = 1e-4, 1e-2
"""Relative change of the sum of squares, or of x, that ends a search from the first start, and from
another as long as it is no better."""
SLANT = 0.05
"""Largest cosine between residuals and a sensitivity that is called zero: MINPACK's measure of a
minimum (Moré, Garbow and Hillstrom 1980; from memory), here for a model in steps."""


@dataclass(frozen=True)
class Solved:
    """The best end of all starts."""

    x: Array
    residuals: Array
    jacobian: Array
    searches: tuple[Search, ...]
    """The one that stands first."""
    apart: float
    """Largest distance on the scale of the search between the ends of equal merit."""


def solve(scaled: Scaled, starts: int, seed: int = 0,
          told: Callable[[float], None] = lambda share: None) -> Solved:
    """From where the numbers stand, and from other places about them."""
    ends: list[tuple[Array, float, tuple[bool, str]]] = []
    for k, x0 in enumerate(_starts(scaled, starts, seed)):
        end = _searched(scaled, x0, ROUGH if k else PRECISE)
        if k and end[1] < 0.99 * ends[0][1]:
            end = _searched(scaled, end[0], PRECISE)
        ends.append(end)
        told((k + 1) / starts)
    ends.sort(key=lambda end: end[1])
    best, cost = ends[0][0], ends[0][1]
    residuals, jacobian = scaled.residuals(best), scaled.jacobian(best)
    n = residuals.size
    alike = [x for x, c, _ in ends if c <= cost * (1.0 + ROUGH) + 1e-9 * n]
    searches = [Search(float(np.sqrt(2.0 * c / n)), why[0], why[1]) for _, c, why in ends]
    searches[0] = _checked(searches[0], scaled, best, residuals, jacobian)
    apart = max((float(np.abs(x - best).max()) for x in alike), default=0.0)
    return Solved(best, residuals, jacobian, tuple(searches), apart)


def _starts(scaled: Scaled, starts: int, seed: int) -> list[Array]:
    low, high = scaled.bounds()
    x0 = np.clip(scaled.x(), low + 1e-6, high - 1e-6)
    others = qmc.Sobol(x0.size, seed=seed).random(max(0, starts - 1)) if starts > 1 else []
    return [x0, *(np.clip(x0 + SPREAD * (2.0 * u - 1.0), low + 1e-6, high - 1e-6) for u in others)]


def _searched(scaled: Scaled, x0: Array, precise: float) -> tuple[Array, float, tuple[bool, str]]:
    slopes = scaled.jacobian if precise <= PRECISE else scaled.slopes
    found = least_squares(scaled.residuals, x0, jac=slopes, bounds=scaled.bounds(),
                          method="trf", ftol=precise, xtol=precise, gtol=1e-10,
                          max_nfev=MOST_STEPS)
    why = {0: f"{MOST_STEPS} steps were not enough", 1: "the slope is zero",
           2: "the sum of squares no longer falls", 3: "the numbers no longer move",
           4: "neither the sum of squares nor the numbers move"}[found.status]
    if float(np.max(np.abs(found.fun))) >= BAD:
        return found.x, float(found.cost), (False, "the model does not run there")
    return found.x, float(found.cost), (found.status > 0, why)


def _checked(search: Search, scaled: Scaled, x: Array, residuals: Array, jacobian: Array
             ) -> Search:
    """The end held against the definition of a minimum, whatever the search says of itself."""
    size = float(np.linalg.norm(residuals))
    inside = ~at_bounds(scaled, x)
    slant = np.abs(jacobian.T @ residuals) / (np.linalg.norm(jacobian, axis=0) * max(size, 1e-9))
    worst = float(slant[inside].max(initial=0.0))
    if worst > SLANT and size > 1e-3 * np.sqrt(residuals.size):
        return Search(search.left, False, f"{search.why}, yet the sum of squares still slopes "
                      f"(cosine {worst:.2g}, a minimum has 0)")
    return search


def at_bounds(scaled: Scaled, x: Array) -> Array:
    """(p,) whether a number lies on a bound of the search."""
    low, high = scaled.bounds()
    near = 1e-3 * np.maximum(1.0, np.abs(high - low))
    return np.asarray((x - low < near) | (high - x < near))


@dataclass(frozen=True)
class Sure:
    """How sure the end is."""

    half: Array
    """(p,) half width of the 95 % interval of x."""
    correlation: Array
    """(p, p)"""
    memories: tuple[float, ...]
    """Of each series."""


def sure(jacobian: Array, residuals: Array, sizes: Sequence[int]) -> Sure:
    """Intervals from what is left, each series by its own spread and memory.

    C = A⁻¹(Σ_s τ_s·s_s²·J_sᵀJ_s)A⁻¹, A = ΣJ_sᵀJ_s, s_s² the mean square residual in units of noise
    over the degrees of freedom, τ_s samples that count as one (`memory`); half width
    t(Σn_s/τ_s − p)·√C. The covariance of weighted least squares whose weights are not the true
    ones: textbooks; from memory. `sizes` are the samples of each series.
    """
    ends = np.cumsum([0, *sizes])
    p, n = jacobian.shape[1], residuals.size
    parts = [(jacobian[a:b], residuals[a:b]) for a, b in pairwise(ends)]
    memories = tuple(memory(r) for _, r in parts)
    middle = sum((tau * float(np.mean(r**2)) * j.T @ j
                  for tau, (j, r) in zip(memories, parts, strict=True)), np.zeros((p, p)))
    inverse = np.linalg.pinv(jacobian.T @ jacobian, hermitian=True)
    covariance = n / max(n - p, 1) * inverse @ middle @ inverse
    worth = sum(size / tau for size, tau in zip(sizes, memories, strict=True))
    deviation = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    factor = float(student.ppf(0.5 + 0.5 * CONFIDENCE, max(worth - p, 1.0)))
    scale = np.where(deviation > 0.0, deviation, 1.0)
    return Sure(factor * deviation, covariance / np.outer(scale, scale), memories)
