"""The operating point for a wanted flow or for given outputs: where a run starts.

One fan, one path: with the flow given, the volume's pressure follows from the far side, the speed
from the torque, and one imbalance is left, the pressure along the fan's branch. That gives every
root; the whole set of equations is then solved from there.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, root

from simfan.assemble import Assembled
from simfan.kernel import layout
from simfan.kernel.layout import Schedule, State
from simfan.steady.bench import Array, Bench

N_GRID = 61
TOLERANCE = 1e-9
"""On the scaled imbalance of a point that is called balanced."""


class NoBalance(Exception):
    """No operating point was found; the message says for which output."""


@dataclass(frozen=True)
class Rest:
    """A steady operating point."""

    x: Array
    """Integrated states."""
    outputs: Array
    """(n_loops,) controller outputs, 0 to 1."""
    held: float
    """True value of what the loop holds [m³/s]."""
    reached: bool
    """False where the wanted value is out of reach and the output rests at its limit."""


def hold(assembled: Assembled, wanted: float, schedule: Schedule | None = None,
         scan: int = 0) -> Rest:
    """The point where the loop's value is as wanted, stable or not; else the nearer limit.

    Of several outputs that would do, the highest.
    """
    bench = Bench(assembled, schedule, scan)
    path = _Path(bench)
    outputs = np.linspace(0.0, 1.0, N_GRID)
    surplus = np.array([path.surplus_at_value(u, wanted) for u in outputs])
    with np.errstate(invalid="ignore"):
        crossings = np.flatnonzero(surplus[:-1] * surplus[1:] <= 0.0)
    if crossings.size == 0:
        ends = [settle(assembled, u, schedule, scan, reached=False) for u in (0.0, 1.0)]
        return min(ends, key=lambda end: abs(end.held - wanted))
    k = crossings[-1]
    output = brentq(lambda u: path.surplus_at_value(u, wanted), outputs[k], outputs[k + 1],
                    xtol=1e-12)
    return _polish(bench, path.x.copy(), float(output), wanted)


def settle(assembled: Assembled, output: float, schedule: Schedule | None = None, scan: int = 0,
           reached: bool = True) -> Rest:
    """The statically stable point with the largest flow at this output."""
    bench = Bench(assembled, schedule, scan)
    path = _Path(bench)
    bench.stand(np.array([output]))
    flows = bench.m_scale * np.linspace(-0.25, 1.25, 151)
    surplus = np.array([path.surplus(m) for m in flows])
    falls = np.flatnonzero((surplus[:-1] > 0.0) & (surplus[1:] <= 0.0))
    if falls.size == 0:
        raise NoBalance(f"no steady flow at a controller output of {100.0 * output:.4g} %")
    k = falls[-1]
    brentq(path.surplus, flows[k], flows[k + 1], xtol=1e-10)
    found = _polish(bench, path.x.copy(), output, None)
    return Rest(found.x, found.outputs, found.held, reached)


class _Path:
    """The plain case by its one flow."""

    def __init__(self, bench: Bench) -> None:
        if bench.plant.network.branch.size != 2 or bench.off.rise != 3:
            raise NoBalance("this search knows one fan and one path only")
        self.bench = bench
        self.x = np.zeros(bench.off.end)
        self.x[:3] = bench.p0, 0.0, 1.0

    def surplus(self, m: float) -> float:
        """Pressure left over along the fan's branch at this flow [Pa], for the outputs stood at."""
        x, bench = self.x, self.bench
        x[1] = m
        x[2] = self._rest_at(2, 0.0, 2.0)
        x[0] = self._rest_at(0, 0.2 * bench.p0, bench.p0 + 20.0 * bench.p_scale)
        return float(bench.slopes(x)[1] * bench.coef.inertance[0])

    def surplus_at_value(self, output: float, wanted: float) -> float:
        """The same at the flow where the loop's value is as wanted; nan where there is none."""
        bench = self.bench
        bench.stand(np.array([output]))

        def error(m: float) -> float:
            self.surplus(m)
            return bench.held() - wanted

        low, high = 1e-3 * bench.m_scale, 1.3 * bench.m_scale
        if error(low) * error(high) > 0.0:
            # the pressure behind the fan rises to the peak and falls: take the side with more flow
            flows = np.linspace(low, high, 31)
            errors = np.array([error(m) for m in flows])
            crossings = np.flatnonzero(errors[:-1] * errors[1:] <= 0.0)
            if crossings.size == 0:
                return float("nan")
            low, high = flows[crossings[-1]], flows[crossings[-1] + 1]
        return self.surplus(float(brentq(error, low, high, xtol=1e-9, rtol=1e-10)))

    def _rest_at(self, i: int, low: float, high: float) -> float:
        """Where state i rests, all else as it is; the nearer end where that lies beyond."""
        if self._slope(i, high) >= 0.0:
            return high
        if self._slope(i, low) <= 0.0:
            return low
        return float(brentq(lambda value: self._slope(i, value), low, high, xtol=1e-12))

    def _slope(self, i: int, value: float) -> float:
        self.x[i] = value
        return float(self.bench.slopes(self.x)[i])


def _polish(bench: Bench, x: Array, output: float, wanted: float | None) -> Rest:
    """Solve the whole set from a near guess, with the output free where a value is wanted."""
    n = bench.n
    scale = float(bench.plant.transmitters[0].span)

    def imbalance(z: Array) -> Array:
        if wanted is None:
            return bench.residual(z)
        bench.stand(z[n:])
        return np.append(bench.residual(z[:n]), (bench.held() - wanted) / scale)

    bench.stand(np.array([output]))
    guess = bench.scaled(x) if wanted is None else np.append(bench.scaled(x), output)
    found = root(imbalance, guess, method="hybr", options={"xtol": 1e-13})
    z = found.x if np.max(np.abs(imbalance(found.x))) < np.max(np.abs(imbalance(guess))) else guess
    if np.max(np.abs(imbalance(z))) > TOLERANCE:
        raise NoBalance(f"the search for a steady point stalled at an output of {output:.4g}")
    return Rest(bench.unscaled(z[:n]).copy(), z[n:].copy() if wanted is not None
                else np.array([output]), bench.held(), True)


def rest_near(assembled: Assembled, outputs: Array, guess: Array) -> Rest:
    """The steady point of any network near a guess of pressures, flows and speeds.

    Raises NoBalance where the search does not end on one.
    """
    bench = Bench(assembled)
    bench.stand(outputs)
    found = root(bench.residual, bench.scaled(guess), method="hybr", options={"xtol": 1e-13})
    if np.max(np.abs(bench.residual(found.x))) > TOLERANCE:
        raise NoBalance(f"no steady point near the guess: {found.message}")
    return Rest(bench.unscaled(found.x).copy(), outputs, bench.held(), True)


def is_stable(assembled: Assembled, rest: Rest) -> bool:
    """Whether small disturbances of the plant die out with its elements standing still: all
    eigenvalues have negative real parts."""
    bench = Bench(assembled, lagged=True)
    bench.stand(rest.outputs)
    x = rest.x.copy()
    bench.slopes(x)
    x[bench.off.rise:bench.off.reading] = bench.probe.fan.rise
    integrated = bench.jacobian(x)
    lagging = [i for i in range(len(integrated)) if np.any(integrated[i])]
    return bool(np.max(np.linalg.eigvals(integrated[np.ix_(lagging, lagging)]).real) < 0.0)


def starting_state(assembled: Assembled, start: Rest, setpoint: float) -> State:
    """The run's state at tick zero: settled, controllers at rest, queues full of the same."""
    plant = assembled.plant
    bench = Bench(assembled)
    bench.stand(start.outputs)
    x = start.x.copy()
    bench.slopes(x)
    state = layout.rest(plant)
    off, loops, low = bench.off, plant.loops, plant.transmitters.low
    x[off.rise:off.reading] = bench.probe.fan.rise
    state.moving[:] = x
    state.volume.anchor[:] = x[:off.flow]
    for i in range(loops.size):
        value, span = bench.sensed(i), plant.transmitters.span[i]
        state.moving[off.reading + i] = value
        state.loop[i].reading = value
        state.reading_queue[i, :] = value
        state.loop[i].output = state.loop[i].unlimited = start.outputs[i]
        error = (loops[i].weight * (setpoint - low[i]) - (value - low[i])) / span
        resting = start.outputs[i] - loops[i].gain * error
        state.loop[i].integral = resting if start.reached else start.outputs[i]
    state.stem[:] = state.position[:] = state.demand[:] = bench.positions(start.outputs)
    state.demand_queue[:, :] = state.demand[:, None]
    return state
