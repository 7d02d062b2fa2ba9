"""Many linear plants at once by their modes: response of each at many frequencies.

Every path from controller output to reading is a sum of first orders, one for each eigenvalue of
its A: C·(sI − A)⁻¹·B = Σ r/(s − λ). A plant whose modes cannot be told apart, two equal lags one
behind the other, has no such sum; it goes the longer way, by itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import matrix_balance

from simfan.loops.linear import Linear
from simfan.steady.bench import Array

ALIKE = 1e6
"""Condition number of the modes' vectors beyond which they are taken as alike: it costs so many of
the sixteen digits."""


@dataclass(frozen=True)
class Path:
    """From the output through one element to the reading, of n plants."""

    poles: Array
    """(n, m) λ [1/s]."""
    shares: Array
    """(n, m) r [1/s]."""
    direct: Array
    """(n,) what follows at once [1]."""
    dead_time: float
    """[s]."""
    sound: Array
    """(n,) whether the modes are good."""

    def response(self, omega: Array) -> Array:
        """(n, n_omega) [1]."""
        s = 1j * omega
        total = np.broadcast_to(self.direct[:, None], (len(self.direct), s.shape[1])) + 0.0j
        part = np.empty_like(total)
        for pole, share in zip(self.poles.T, self.shares.T, strict=True):
            np.subtract(s, pole[:, None], out=part)
            total += np.divide(share[:, None], part, out=part)
        return total * np.exp(-s * self.dead_time) if self.dead_time else total

    def sampled(self, z: Array, scan: float) -> Array:
        """(n, n_omega) as the scans see it, as `Linear.sampled` [1]:

        z^(−k)·[Σ r·(Γ(T − εT) + e^(λ(T − εT))·Γ(εT)·z⁻¹)/(z − e^(λT)) + D·z⁻¹]
        """
        whole = int(np.floor(self.dead_time / scan + 1e-9))
        rest = max(self.dead_time - whole * scan, 0.0)
        now = self.shares * _integral(self.poles, scan - rest)
        late = self.shares * np.exp(self.poles * (scan - rest)) * _integral(self.poles, rest)
        before = 1.0 / z
        total = self.direct[:, None] * before
        for pole, a, b in zip(np.exp(self.poles.T * scan), now.T, late.T, strict=True):
            part = a[:, None] + b[:, None] * before if rest else a[:, None]
            total = total + part / (z - pole[:, None])
        return np.asarray(total * before**whole)


class Stack:
    """Plants of one loop at several points: alike in elements, lags and dead times."""

    def __init__(self, plants: Sequence[Linear]) -> None:
        self.plants = tuple(plants)
        first = plants[0]
        self.paths = [self._path(k) for k in range(first.share.size)
                      if any(p.share[k] != 0.0 for p in plants)]
        sound = np.ones(len(plants), dtype=bool)
        for path in self.paths:
            sound &= path.sound
        self.others = np.flatnonzero(~sound)

    def response(self, omega: Array) -> Array:
        """(n, n_omega) reading over controller output, G(jω), at frequencies (n_omega,) or
        (n, n_omega) [1]."""
        omega = np.atleast_2d(omega)
        total = self._none(omega)
        for path in self.paths:
            total = total + path.response(omega)
        for k in self.others:
            total[k] = self.plants[k].response(omega[k if len(omega) > 1 else 0])
        return total

    def sampled(self, omega: Array, scan: float) -> Array:
        """(n, n_omega) the same as the scans see it, G(e^{jωT}) [1]."""
        omega = np.atleast_2d(omega)
        z, total = np.exp(1j * omega * scan), self._none(omega)
        for path in self.paths:
            total = total + path.sampled(z, scan)
        for k in self.others:
            total[k] = self.plants[k].sampled(omega[k if len(omega) > 1 else 0], scan)
        return total

    def position(self, omega: Array, scan: float) -> Array:
        """(n or 1, n_omega) position of the first element over the output, the same at every
        point [1]."""
        first = self.plants[0]
        return _position(float(first.lag[0]), float(first.dead_time[0])).sampled(
            np.exp(1j * np.atleast_2d(omega) * scan), scan)

    def _none(self, omega: Array) -> Array:
        return np.zeros((len(self.plants), omega.shape[1]), dtype=complex)

    def _path(self, k: int) -> Path:
        """The path through element k, its lag a state more."""
        first = self.plants[0]
        share = np.array([p.share[k] for p in self.plants])
        a, b = np.array([p.a for p in self.plants]), np.array([p.b[:, k] for p in self.plants])
        c, d = np.array([p.c for p in self.plants]), np.array([p.d[k] for p in self.plants])
        b, d = share[:, None] * b, share * d
        if (lag := float(first.lag[k])) > 0.0:
            n, m = b.shape
            wider = np.zeros((n, m + 1, m + 1))
            wider[:, :m, :m], wider[:, :m, m], wider[:, m, m] = a, b, -1.0 / lag
            a, b = wider, np.tile(np.append(np.zeros(m), 1.0 / lag), (n, 1))
            c, d = np.hstack([c, d[:, None]]), np.zeros(n)
        return _modal(a, b, c, d, float(first.dead_time[k]) + first.reading_dead_time)


def _position(lag: float, dead_time: float) -> Path:
    if lag > 0.0:
        one = np.array([[1.0 / lag]])
        return Path(-one, one, np.zeros(1), dead_time, np.ones(1, dtype=bool))
    none = np.zeros((1, 0))
    return Path(none, none, np.ones(1), dead_time, np.ones(1, dtype=bool))


def _modal(a: Array, b: Array, c: Array, d: Array, dead_time: float) -> Path:
    """The modes of n triples (A, B, C), their states first scaled to like sizes."""
    scale = matrix_balance(np.abs(a).max(axis=0), permute=False, separate=True)[1][0]
    a, b, c = a / scale[:, None] * scale, b / scale, c * scale
    poles, vectors = np.linalg.eig(a)
    sound = np.linalg.cond(vectors) < ALIKE
    vectors = np.where(sound[:, None, None], vectors, np.eye(poles.shape[1]))
    left = np.linalg.solve(vectors, b[:, :, None].astype(complex))[:, :, 0]
    right = (c[:, None, :] @ vectors)[:, 0, :]
    return Path(poles, left * right, d, dead_time, sound)


def _integral(poles: Array, time: float) -> Array:
    """∫₀ᵗ e^(λs) ds."""
    still = np.abs(poles * time) < 1e-12
    safe = np.where(still, 1.0, poles)
    return np.where(still, time, np.expm1(safe * time) / safe)
