"""What a tuning rule knows of a process: first or second order with dead time, integrating, or the
gain and period at which it swings.

Gains are reading over output and carry their sign; K is on spans [1] where the tuning shall be.
"""

from dataclasses import dataclass

import numpy as np

from simfan.steady.bench import Array


@dataclass(frozen=True)
class FirstOrder:
    """K·e^(−θs)/(τs + 1)."""

    gain: float
    """K [1]."""
    lag: float
    """τ [s]."""
    dead_time: float
    """θ [s]."""

    def response(self, omega: Array) -> Array:
        """(n,) at jω [1]."""
        s = 1j * np.asarray(omega)
        return self.gain * np.exp(-self.dead_time * s) / (self.lag * s + 1.0)

    def step(self, time: Array) -> Array:
        """(n,) answer to a unit step at zero: K(1 − e^(−(t − θ)/τ)) from θ on [1]."""
        after = np.maximum(np.asarray(time) - self.dead_time, 0.0)
        return -self.gain * np.expm1(-after / self.lag)


@dataclass(frozen=True)
class SecondOrder:
    """K·e^(−θs)/((τ₁s + 1)(τ₂s + 1)), τ₁ ≥ τ₂."""

    gain: float
    """K [1]."""
    lag: float
    """τ₁ [s]."""
    second_lag: float
    """τ₂ [s]."""
    dead_time: float
    """θ [s]."""

    def response(self, omega: Array) -> Array:
        """(n,) at jω [1]."""
        s = 1j * np.asarray(omega)
        return (self.gain * np.exp(-self.dead_time * s)
                / ((self.lag * s + 1.0) * (self.second_lag * s + 1.0)))

    def step(self, time: Array) -> Array:
        """(n,) answer to a unit step at zero [1]:
        K(1 − e^(−t'/τ₁) − τ₂·(e^(−t'/τ₁) − e^(−t'/τ₂))/(τ₁ − τ₂)), t' = t − θ from θ on."""
        after = np.maximum(np.asarray(time) - self.dead_time, 0.0)
        rate, other = 1.0 / self.lag, 1.0 / max(self.second_lag, 1e-9 * self.lag)
        apart = other - rate
        slow = np.exp(-rate * after)
        # (1 − e^(−x))/apart in the limit x = apart·t' → 0 too: equal lags
        ratio = after if apart < 1e-9 * rate else -np.expm1(-apart * after) / apart
        return self.gain * (1.0 - slow - rate * slow * ratio)


@dataclass(frozen=True)
class Integrating:
    """k'·e^(−θs)/(s(τ₂s + 1)): a value that runs away at k' a second for each unit of output."""

    gain: float
    """k' [1/s]."""
    dead_time: float
    """θ [s]."""
    second_lag: float = 0.0
    """τ₂ [s]."""

    def response(self, omega: Array) -> Array:
        """(n,) at jω [1]."""
        s = 1j * np.asarray(omega)
        return self.gain * np.exp(-self.dead_time * s) / (s * (self.second_lag * s + 1.0))


@dataclass(frozen=True)
class Ultimate:
    """Where a proportional controller alone makes the loop swing on and on."""

    gain: float
    """Ku [1]."""
    period: float
    """Pu [s]."""


Process = FirstOrder | SecondOrder | Integrating
