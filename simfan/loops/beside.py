"""What the first loop sees where another one stands beside or below it, on spans at the scans.

    two loops     G₀₀ − G₀₁·C₁·G₁₀/(1 + C₁·G₁₁), the second closed
    mid-ranging   G₀₀ − z⁻¹·C₁·G₀₁: the slow loop reads the output of the last scan
    cascade       G₀₁·C₁/(1 + C₁·G₁₁), and the external reset comes from C₁·G₁₁/(1 + C₁·G₁₁)

G_ij is reading i over the elements that loop j moves.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np

from simfan.assemble import Assembled
from simfan.loops.linear import linear
from simfan.loops.margins import Controller, around_each
from simfan.loops.modes import Stack
from simfan.plant.case import Case
from simfan.steady.balance import Rest
from simfan.steady.bench import Array

TWO_LOOPS, MID_RANGING, CASCADE = "two loops", "mid-ranging", "cascade"


def kind(case: Case, name: str) -> str | None:
    """Which of these a strategy is; None for one loop."""
    strategy = case.strategies[name]
    return (TWO_LOOPS if strategy.second_loop else MID_RANGING if strategy.mid_ranging
            else CASCADE if strategy.cascade else None)


@dataclass(frozen=True)
class Beside:
    """The other loop of a structure at n points."""

    kind: str
    scan: float
    other: Controller
    """The second or inner or slow one, with the sign it has in the plant."""
    paths: dict[tuple[int, int], Stack]
    """(reading, loop that moves) → the plants."""

    def process(self, omega: Array) -> Array:
        """(n, n_omega) what the first controller moves its reading through [1]."""
        omega = np.atleast_2d(omega)
        c = self.other.response(omega, 1.0)
        if self.kind == TWO_LOOPS:
            return (self._g(0, 0, omega) - self._g(0, 1, omega) * c * self._g(1, 0, omega)
                    / (1.0 + c * self._g(1, 1, omega)))
        if self.kind == MID_RANGING:
            late = np.exp(-1j * omega * self.scan)
            return np.asarray(self._g(0, 0, omega) - late * c * self._g(0, 1, omega))
        return np.asarray(self._g(0, 1, omega) * c / (1.0 + c * self._g(1, 1, omega)))

    def reset(self, omega: Array) -> Array | float:
        """(n, n_omega) what the first controller's external reset sees of its output [1]."""
        if self.kind != CASCADE:
            return 1.0
        loop = self.alone(omega)
        return np.asarray(loop / (1.0 + loop))

    def alone(self, omega: Array) -> Array:
        """(n, n_omega) L of the other loop, the first one standing still [1]."""
        omega = np.atleast_2d(omega)
        if self.kind == MID_RANGING:
            return np.zeros((1, omega.shape[1]), dtype=complex)
        return self.other.response(omega, 1.0) * self._g(1, 1, omega)

    @property
    def integrators(self) -> int:
        """Of the process that the first controller sees."""
        return int(self.kind == MID_RANGING)

    def unstable(self, plant: Array) -> Array:
        """(n,) whether the other loop alone is unstable, from the growing poles of the plant."""
        if self.kind == MID_RANGING:
            return plant > 0
        found = around_each(self.alone, pi / self.scan, plant + 0.5)
        return np.array([not m.stable for m in found])

    def largest_singular_value(self, first: Controller, omega: Array) -> Array:
        """(n,) max over ω of σ̄(S), S = (I + G·C)⁻¹, of two loops [1]."""
        g = np.array([[self._g(i, j, omega) for j in (0, 1)] for i in (0, 1)])
        c = np.array([k.response(np.atleast_2d(omega), 1.0)[0] for k in (first, self.other)])
        back = np.moveaxis(g * c[None, :, None, :], (0, 1), (2, 3)) + np.eye(2)
        return np.asarray(1.0 / np.linalg.svd(back, compute_uv=False)[..., -1].min(axis=1))

    def relative_gains(self) -> Array:
        """(n,) λ₁₁ = 1/(1 − K₀₁K₁₀/(K₀₀K₁₁)): of the pairing as it is [1]. Bristol (1966)."""
        k = {ij: np.array([p.gain for p in s.plants]) for ij, s in self.paths.items()}
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(1.0 / (1.0 - k[0, 1] * k[1, 0] / (k[0, 0] * k[1, 1])))

    def _g(self, reading: int, loop: int, omega: Array) -> Array:
        return self.paths[reading, loop].sampled(np.atleast_2d(omega), self.scan)


def beside(case: Case, name: str, assembled: Assembled, rests: Sequence[Rest]) -> Beside | None:
    """The other loop at these points; None where there is one loop alone."""
    which, loops = kind(case, name), assembled.plant.loops
    if which is None:
        return None
    needed = {TWO_LOOPS: [(0, 0), (0, 1), (1, 0), (1, 1)], MID_RANGING: [(0, 0), (0, 1)],
              CASCADE: [(0, 1), (1, 1)]}[which]
    row, scan = loops[1], case.control.scan
    derivative, n = 0.0, 8.0
    if row.derivative != 0.0:
        n = float(row.derivative / row.gain)
        derivative = -n * scan / float(np.log(row.derivative_decay))
    paths = {(i, j): Stack([linear(assembled, rest, i, j) for rest in rests]) for i, j in needed}
    return Beside(which, scan, Controller(float(row.gain), float(row.reset), scan, derivative, n),
                  paths)
