"""The operating point for a wanted flow or for given outputs: where a run starts."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, root

from simfan.assemble import Assembled
from simfan.kernel import layout
from simfan.kernel.layout import Schedule, State
from simfan.steady.bench import Array, Bench
from simfan.steady.search import NoBalance, Search, Standing

HELD_AT = 31
"""Flows at which a search for a held value looks first."""
TOLERANCE = 1e-9
"""On the scaled imbalance of a point that is called balanced."""


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
    search = Search(assembled, schedule, scan)
    lowest, highest = search.points_at(0.0), search.points_at(1.0)
    if not len(lowest) or not len(highest):
        raise NoBalance(f"no steady flow at a controller output of {0 if len(highest) else 100} %")
    i = search.bench.off.flow
    at = search.between(float(lowest.x[0, i]), float(highest.x[-1, i]), HELD_AT)
    error = held(search, at) - wanted
    crossings = np.flatnonzero(error[:-1] * error[1:] <= 0.0)
    if crossings.size == 0:
        ends = [settle(assembled, u, schedule, scan, reached=False) for u in (0.0, 1.0)]
        return min(ends, key=lambda end: abs(end.held - wanted))
    k = max(crossings, key=lambda k: at.output[k:k + 2].max())

    def point(flow: float) -> Standing:
        """By rounding no output may give a flow just inside the range: its limit does."""
        found = search.along(np.array([flow]))
        if len(found):
            return found
        limit = at.output[k:k + 2].max(keepdims=True)
        return search.standing(search.placed(limit), np.array([flow]), output=limit)

    def amiss(flow: float) -> float:
        return float(held(search, point(flow))[0]) - wanted

    flow, exact = at.x[:, i], np.flatnonzero(error[k:k + 2] == 0.0)
    if exact.size:
        return _rest(search, at[k + exact[:1]])
    return _rest(search, point(float(brentq(amiss, flow[k], flow[k + 1], xtol=1e-12))))


def settle(assembled: Assembled, output: float, schedule: Schedule | None = None, scan: int = 0,
           reached: bool = True) -> Rest:
    """The statically stable point with the largest flow at this output."""
    search = Search(assembled, schedule, scan)
    found = search.points_at(output)
    if not len(found):
        raise NoBalance(f"no steady flow at a controller output of {100.0 * output:.4g} %")
    return _rest(search, found[-1:], reached)


def held(search: Search, at: Standing) -> Array:
    """(n,) true value of what the first loop holds at these points."""
    return search.samples(at)["true_value"][:, 0]


def _rest(search: Search, at: Standing, reached: bool = True) -> Rest:
    """The first of these points."""
    x = at.x[0].copy()
    x[search.bench.n:] = 0.0
    return Rest(x, np.array([at.output[0]]), float(held(search, at)[0]), reached)


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
