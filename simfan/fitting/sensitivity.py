"""What a trend can tell: sensitivities of the compared samples to each number.

S_j = ∂r/∂x_j, r in units of noise, x = ln(θ/θ₀) (of a pressure that may be
zero, the difference over the fan's highest).
Alone a number would be known to 1/‖S_j‖; together to √diag((SᵀS)⁻¹).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simfan.fit_answer import ALIKE
from simfan.fitting.model import Array, Model, Unable
from simfan.fitting.numbers import Number

STEP = 2e-3
"""Of x to either side: small beside a change that matters, large beside what the steps of actuator
and transmitter leave of unevenness. An assumption; halving it is a test."""
KNOWN = 0.3
"""Standard deviation of x beyond which a number is not known: ±60 % on a log scale at 95 %. An
assumption."""
BAD = 1e3
"""Residual of every sample where the numbers make no run: any other place is better."""


@dataclass(frozen=True)
class Left:
    """A number that the trend cannot tell, and with which others it goes, if it does."""

    place: int
    deviation: float
    """Of x [1]; inf where nothing moves."""
    partner: int | None = None
    related: float = 0.0
    """Correlation with it [1]."""


class Scaled:
    """Residuals of some of a model's numbers on the scale of the search, the others left."""

    def __init__(self, model: Model, free: Sequence[int], values: Array) -> None:
        self.model, self.free, self.values = model, list(free), np.array(values, dtype=float)
        self.numbers: list[Number] = [model.numbers[i] for i in self.free]

    def x(self) -> Array:
        """(p,) where the free numbers stand."""
        return np.array([n.x(self.values[i]) for n, i in zip(self.numbers, self.free, strict=True)])

    def bounds(self) -> tuple[Array, Array]:
        """(p,) each."""
        return (np.array([n.x(n.low) for n in self.numbers]),
                np.array([n.x(n.high) for n in self.numbers]))

    def at(self, x: Array) -> Array:
        """(all,) values [SI]."""
        values = self.values.copy()
        values[self.free] = [n.value(float(v)) for n, v in zip(self.numbers, x, strict=True)]
        return values

    def residuals(self, x: Array) -> Array:
        """(n,) over the noise."""
        try:
            return self.model.residuals(self.at(x))
        except Unable:
            return np.full(sum(s.time.size for s in self.model.record.series), BAD)

    def slopes(self, x: Array) -> Array:
        """(n, p) by differences to one side: half the runs, for a search that is on its way."""
        high = self.bounds()[1]
        here, columns = self.residuals(x), []
        for j in range(x.size):
            there = x.copy()
            there[j] += STEP if x[j] + STEP < high[j] else -STEP
            columns.append((self.residuals(there) - here) / (there[j] - x[j]))
        return np.array(columns).T.reshape(-1, x.size)

    def jacobian(self, x: Array, step: float = STEP) -> Array:
        """(n, p) by central differences; to one side where the other is beyond a bound."""
        low, high = self.bounds()
        columns = []
        for j in range(x.size):
            ends = [np.where(np.arange(x.size) == j, np.clip(x + side * step, low, high), x)
                    for side in (-1.0, 1.0)]
            columns.append((self.residuals(ends[1]) - self.residuals(ends[0]))
                           / (ends[1][j] - ends[0][j]))
        return np.array(columns).T.reshape(-1, x.size)


def unknown(jacobian: Array, worth: float = 1.0) -> tuple[Left, ...]:
    """Numbers to leave, by the place of their column, until all others are known to `KNOWN`.

    First those that would not be known alone; then, one at a time, the one least known together
    with the others, or of two that trade off so far that neither is known the later one. `worth` is
    the samples that count as one, of a residual that is like its neighbours.
    """
    left = [Left(j, d) for j, d in enumerate(alone(jacobian, worth)) if d > KNOWN]
    kept = [j for j in range(jacobian.shape[1]) if j not in {one.place for one in left}]
    while len(kept) > 1:
        deviation, related = together(jacobian[:, kept], worth)
        worst = int(np.argmax(deviation))
        if deviation[worst] <= KNOWN:
            break
        others = np.abs(np.where(np.arange(len(kept)) == worst, 0.0, related[worst]))
        partner = int(np.argmax(others))
        if others[partner] >= ALIKE and deviation[partner] > KNOWN:
            worst, partner = max(worst, partner), min(worst, partner)
        left.append(Left(kept[worst], float(deviation[worst]), kept[partner],
                         float(related[worst, partner])))
        kept.pop(worst)
    return tuple(left)


def alone(jacobian: Array, worth: float = 1.0) -> list[float]:
    """(p,) standard deviation of each x were the others known; inf where nothing moves."""
    with np.errstate(divide="ignore"):
        return [float(d) for d in np.sqrt(worth) / np.linalg.norm(jacobian, axis=0)]


def together(jacobian: Array, worth: float = 1.0) -> tuple[Array, Array]:
    """(p,) standard deviations of x and (p, p) correlations, from singular values of the scaled
    sensitivities; what they do not see at all is unknown without end."""
    norms = np.linalg.norm(jacobian, axis=0)
    _, s, vt = np.linalg.svd(jacobian / norms, full_matrices=False)
    spread = vt.T / np.maximum(s, 1e-9)
    covariance = spread @ spread.T / np.outer(norms, norms)
    deviation = np.sqrt(np.diag(covariance))
    return np.sqrt(worth) * deviation, covariance / np.outer(deviation, deviation)


def collinearity(jacobian: Array) -> float | None:
    """γ = 1/√λ_min of ŜᵀŜ, each column of Ŝ of length 1: 1 where all stand at right angles; beyond
    10 to 15 one number's change is nearly made up for by the others'.

    Brun, Reichert and Künsch, Water Resources Research 37 (2001) 1015; from memory.
    """
    if jacobian.shape[1] < 2:
        return None
    s = np.linalg.svd(jacobian / np.linalg.norm(jacobian, axis=0), compute_uv=False)
    return float(1.0 / max(s[-1], 1e-9))
