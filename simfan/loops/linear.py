"""The assembled plant about a steady point: dx/dt = A·x + B·y, reading = C·x + D·y.

x are pressures, flows, speeds, the wheel's lagged pressure rise and the lagged reading; y are the
positions of the elements. The slopes are the kernel's own, differentiated at the point. Each
element follows the controller output through its sequence table, its positioner's lag and its dead
time: small moves, so no rate limit, backlash or stick.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm

from simfan.assemble import Assembled
from simfan.kernel import entry
from simfan.kernel.layout import Actuators
from simfan.steady.balance import Rest
from simfan.steady.bench import Array, Bench

SMALL = 1e-5
"""Change of position and of output for slopes."""


@dataclass(frozen=True)
class Linear:
    """A plant about a point, on spans: output and reading run from 0 to 1."""

    a: Array
    """(n, n) [1/s]."""
    b: Array
    """(n, n_elements)"""
    c: Array
    """(n,) [1/span]."""
    d: Array
    """(n_elements,) [1/span]."""
    share: Array
    """(n_elements,) how far each element moves with the output [1]."""
    lag: Array
    """(n_elements,) of each positioner [s]."""
    dead_time: Array
    """(n_elements,) of each actuator [s]."""
    reading_dead_time: float
    """[s]."""

    def response(self, omega: Array) -> Array:
        """(n_omega,) reading over controller output, G(jω), dead times exact [1].

        G = Σ [C·(jωI − A)⁻¹·B_a + D_a]·share_a·e^(−jωθ_a)/(1 + jωτ_a) · e^(−jωθ)
        """
        s = 1j * np.asarray(omega, dtype=float)
        n = self.a.shape[0]
        resolvent = np.linalg.solve(s[:, None, None] * np.eye(n) - self.a, self.b.astype(complex))
        paths = np.einsum("i,kij->kj", self.c, resolvent) + self.d
        elements = self.share * np.exp(-s[:, None] * self.dead_time) / (1.0 + s[:, None] * self.lag)
        return (paths * elements).sum(axis=1) * np.exp(-s * self.reading_dead_time)

    def sampled(self, omega: Array, scan: float) -> Array:
        """(n_omega,) the same as the scans see it: output held between them, reading taken just
        before the next, G(e^{jωT}) [1].

        Exact: every path is carried from scan to scan by e^(AT), its dead time a whole number of
        scans and a rest.
        """
        z = np.exp(1j * np.asarray(omega, dtype=float) * scan)
        total = np.zeros(z.shape, dtype=complex)
        for k, share in enumerate(self.share):
            if share != 0.0:
                path = _with_lag(self.a, share * self.b[:, k], self.lag[k])
                total += _held(z, scan, *path, *_seen(self.c, share * self.d[k], self.lag[k]),
                               self.dead_time[k] + self.reading_dead_time)
        return total

    def position(self, omega: Array, scan: float, element: int = 0) -> Array:
        """(n_omega,) position of an element at the scans, as a share of its own move, over the
        output."""
        z = np.exp(1j * np.asarray(omega, dtype=float) * scan)
        none, lag = np.zeros(0), self.lag[element]
        path = _with_lag(np.zeros((0, 0)), none, lag)
        return _held(z, scan, *path, *_seen(none, 1.0, lag), self.dead_time[element])

    @property
    def gain(self) -> float:
        """G(0): span of reading per span of output [1]; without meaning where the point is not
        statically stable."""
        return float(self.response(np.zeros(1))[0].real)

    @property
    def poles(self) -> Array:
        """(n,) of the air path, rotor and transmitter [1/s]."""
        return np.linalg.eigvals(self.a)


def _with_lag(a: Array, b: Array, lag: float) -> tuple[Array, Array]:
    """(A, B) with the element's own lag as one state more, where it has one."""
    if lag <= 0.0:
        return a, b
    n = b.size
    wider = np.zeros((n + 1, n + 1))
    wider[:n, :n], wider[:n, n], wider[n, n] = a, b, -1.0 / lag
    return wider, np.append(np.zeros(n), 1.0 / lag)


def _seen(c: Array, d: float, lag: float) -> tuple[Array, float]:
    """(C, D) of the same."""
    return (c, d) if lag <= 0.0 else (np.append(c, d), 0.0)


def _held(z: Array, scan: float, a: Array, b: Array, c: Array, d: float, dead_time: float) -> Array:
    """(n_omega,) y/u at the scans, just before the next output, u held and late by a dead time
    θ = (k + ε)T:

    z^(−k)·[C·(zI − e^(AT))⁻¹·(Γ(T − εT) + e^(A(T − εT))·Γ(εT)·z⁻¹) + D·z⁻¹], Γ(t) = ∫₀ᵗ e^(As)·B ds
    """
    whole = int(np.floor(dead_time / scan + 1e-9))
    rest = max(dead_time - whole * scan, 0.0)
    late, by_late = _carried(a, b, scan - rest)
    early, by_early = _carried(a, b, rest)
    drive = by_late + np.outer(1.0 / z, late @ by_early)
    states = np.linalg.solve(z[:, None, None] * np.eye(b.size) - late @ early, drive[:, :, None])
    return np.asarray((states[:, :, 0] @ c + d / z) * z**-whole)


def _carried(a: Array, b: Array, time: float) -> tuple[Array, Array]:
    """(e^(At), Γ(t))."""
    n = b.size
    both = np.zeros((n + 1, n + 1))
    both[:n, :n], both[:n, n] = a, b
    moved = expm(both * time)
    return moved[:n, :n], moved[:n, n]


def linear(assembled: Assembled, rest: Rest, reads: int = 0, moved_by: int | None = None
           ) -> Linear:
    """The plant about a steady point, as loop `reads` sees it.

    The elements follow one output along the way that the points lie on; with `moved_by` only those
    move that this loop moves, over its own output.
    """
    plant, bench = assembled.plant, Bench(assembled, lagged=True)
    positions = bench.positions(rest.outputs)
    bench.stand(rest.outputs)
    x = rest.x.copy()
    bench.slopes(x)
    off = bench.off
    x[off.rise:off.reading] = bench.probe.fan.rise
    bench.slopes(x)
    x[off.reading:off.moved] = [bench.sensed(i) for i in range(plant.loops.size)]
    integrated, sensed_x = _by_states(bench, x, reads)
    by_position, sensed_y = _by_positions(bench, x, positions, reads)
    lives = _alive(bench)
    span = float(plant.transmitters[reads].span)
    lagged = plant.transmitters[reads].lag > 0.0
    c = np.zeros(integrated.shape[0])
    if lagged:
        c[off.reading + reads] = 1.0
    else:
        c = sensed_x
    each = plant.actuators.each
    return Linear(
        a=integrated[np.ix_(lives, lives)], b=by_position[lives], c=c[lives] / span,
        d=(np.zeros(each.size) if lagged else sensed_y) / span,
        share=(_shares(bench, rest.outputs) if moved_by is None else
               _own_shares(plant.actuators, positions, moved_by)),
        lag=each.lag.copy(), dead_time=each.delay * plant.step,
        reading_dead_time=float(plant.transmitters[reads].delay) * plant.step)


def _by_states(bench: Bench, x: Array, reads: int) -> tuple[Array, Array]:
    """(∂(dx/dt)/∂x, ∂(what the transmitter sees)/∂x), both from the same evaluations."""
    size = bench.small()
    slopes, sensed = np.empty((size.size, size.size)), np.empty(size.size)
    for i, step in enumerate(size):
        sides = []
        for sign in (1.0, -1.0):
            moved = x.copy()
            moved[i] += sign * step
            sides.append((bench.slopes(moved)[:size.size].copy(), bench.sensed(reads)))
        slopes[:, i] = (sides[0][0] - sides[1][0]) / (2.0 * step)
        sensed[i] = (sides[0][1] - sides[1][1]) / (2.0 * step)
    return slopes, sensed


def _by_positions(bench: Bench, x: Array, positions: Array, reads: int) -> tuple[Array, Array]:
    """(∂(dx/dt)/∂y, ∂(what the transmitter sees)/∂y); one-sided at an element's end."""
    m = bench.small().size
    slopes, sensed = np.empty((m, positions.size)), np.empty(positions.size)
    for a in range(positions.size):
        ends, seen, at = [], [], []
        for side in (1.0, -1.0):
            moved = positions.copy()
            moved[a] = min(max(moved[a] + side * SMALL, 0.0), max(1.0, positions[a] + SMALL))
            entry.stand(bench.plant, bench.cond, moved, bench.coef, bench.probe)
            ends.append(bench.slopes(x)[:m].copy())
            seen.append(bench.sensed(reads))
            at.append(moved[a])
        slopes[:, a] = (ends[0] - ends[1]) / (at[0] - at[1])
        sensed[a] = (seen[0] - seen[1]) / (at[0] - at[1])
    entry.stand(bench.plant, bench.cond, positions, bench.coef, bench.probe)
    return slopes, sensed


def _alive(bench: Bench) -> list[int]:
    """States that move of themselves: the lagged ones only where they lag."""
    off, plant = bench.off, bench.plant
    lags = [off.rise + i for i in range(plant.fans.each.size) if plant.fans.each[i].lag > 0.0]
    reads = [off.reading + i for i in range(plant.loops.size) if plant.transmitters[i].lag > 0.0]
    return [*range(off.rise), *lags, *reads]


def _shares(bench: Bench, outputs: Array) -> Array:
    """(n_elements,) slope of each sequence table; at a corner the mean of both sides."""
    low, high = (np.clip(outputs + side * SMALL, 0.0, 1.0) for side in (-1.0, 1.0))
    return (bench.positions(high) - bench.positions(low)) / (high[0] - low[0])


def _own_shares(act: Actuators, positions: Array, loop: int) -> Array:
    """(n_elements,) slope of the tables of the elements that one loop moves; none for others."""
    found = np.zeros(positions.size)
    for a in np.flatnonzero(act.each.loop == loop):
        u = float(np.interp(positions[a], act.demand[a], act.output[a]))
        low, high = np.clip([u - SMALL, u + SMALL], 0.0, 1.0)
        ends = np.interp([low, high], act.output[a], act.demand[a])
        found[a] = (ends[1] - ends[0]) / (high - low)
    return found
