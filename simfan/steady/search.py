"""Operating points of the plain case, many at a time: one flow decides each of them.

    surplus of pressure        at an operating point it is zero; where it falls with the flow the
      │ ╲                      point is statically stable
      │  ╲      ╱╲
      ┼───●────●──╲●──── flow
      │    ╲__╱    ╲
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import elementwise

from simfan.assemble import Assembled
from simfan.kernel import holding, layout, rest
from simfan.kernel.layout import Schedule
from simfan.steady.bench import Array, Bench

FLOWS = 121
"""Flows at which a search for all operating points looks first."""
OUTPUTS = 41
"""Controller outputs at which a search for the one that gives a flow looks first."""
LEAST_FLOW, MOST_FLOW = -1.0, 1.5
"""Ends of the search, of the largest flow in the curve's table."""
ROUNDING = 1e-6
"""Of the largest pressure of the curve: less than this left over is rounding."""


class NoBalance(Exception):
    """No operating point was found; the message says for which output."""


@dataclass(frozen=True)
class Standing:
    """Resting states, one for each of n operating points."""

    output: Array
    """(n,) controller output, 0 to 1."""
    position: Array
    """(n, n_elements) where each element stands."""
    x: Array
    """(n, n_integrated)"""

    def __getitem__(self, which: slice | Array) -> "Standing":
        return Standing(self.output[which], self.position[which], self.x[which])

    def __len__(self) -> int:
        return self.output.size


class Search:
    """The plain case by its one flow, at the conditions of one scan."""

    def __init__(self, assembled: Assembled, schedule: Schedule | None = None,
                 scan: int = 0) -> None:
        self.bench = bench = Bench(assembled, schedule, scan)
        self.plant = plant = bench.plant
        self.lagged = (Bench(assembled, schedule, scan, lagged=True)
                       if np.any(assembled.plant.fans.each.lag > 0.0) else bench)
        if plant.network.branch.size != 2 or bench.off.rise != 3:
            raise NoBalance("this search knows one fan and one path only")
        near = np.linspace(0.0, 1.25, FLOWS - 20) ** 1.5 / 1.25**0.5
        self.flows = bench.m_scale * np.concatenate(
            [np.linspace(LEAST_FLOW, -0.02, 16), near, np.linspace(1.3, MOST_FLOW, 4)])

    def placed(self, outputs: Array) -> Array:
        """(n, n_elements) where the sequence tables put the elements for (n,) outputs."""
        position = np.empty((outputs.size, self.plant.actuators.each.size))
        rest.placed(self.plant, np.repeat(outputs[:, None], self.plant.loops.size, 1), position)
        return position

    def surplus(self, position: Array, flow: Array, back: Array | None = None
                ) -> tuple[Array, Array]:
        """((n,) pressure left over along the fan's branch [Pa], (n, n_integrated) states).

        For each row of `position` (n, n_elements) and `flow` (n,) [kg/s]; `back` (n,) is the
        volume's absolute pressure [Pa] where it is given instead of following from the process.
        """
        bench, n = self.bench, flow.size
        left, x = np.empty(n), np.zeros((n, bench.off.end))
        rest.surplus(self.plant, bench.cond, np.ascontiguousarray(position), flow,
                     np.full(n, np.nan) if back is None else back, x, bench.slope, bench.coef,
                     bench.probe, left)
        return left, x

    def points_at(self, output: float) -> Standing:
        """Every operating point at one controller output, by rising flow."""
        return self.points(np.array([output]))[1]

    def points(self, outputs: Array) -> tuple[Array, Standing]:
        """Every operating point at each of some outputs: ((n,) which output, n points), by output
        and rising flow."""
        which, found = self.points_placed(self.placed(outputs))
        return which, replace(found, output=outputs[which])

    def points_placed(self, position: Array) -> tuple[Array, Standing]:
        """The same with the elements placed by (n, n_elements) positions; no output is known."""
        bench = self.bench
        which, flow = rest.flows_at(self.plant, bench.cond, np.ascontiguousarray(position),
                                    self.flows, bench.x, bench.slope, bench.coef, bench.probe)
        return which, self.standing(position[which], flow)

    def outputs_for(self, flow: Array) -> Array:
        """(n,) the highest controller output that gives each flow [kg/s]; nan where none does."""
        bench = self.bench
        found: Array = rest.outputs_for(
            self.plant, bench.cond, np.ascontiguousarray(flow), OUTPUTS - 1,
            np.empty(self.plant.actuators.each.size), bench.x, bench.slope, bench.coef, bench.probe)
        return found

    def along(self, flow: Array) -> Standing:
        """The operating points of those flows [kg/s] that some output gives."""
        output = self.outputs_for(flow)
        given = np.isfinite(output)
        return self.standing(self.placed(output[given]), flow[given], output=output[given])

    def between(self, low: float, high: float, n: int = FLOWS) -> Standing:
        """The operating points of n flows [kg/s] from low to high, ends that are just missed by
        rounding taken at the output's limit."""
        flow = np.linspace(low, high, n)
        output = self.outputs_for(flow)
        for end, limit in ((0, 0.0), (-1, 1.0)):
            left, _ = self.surplus(self.placed(np.array([limit])), flow[[end]])
            if not np.isfinite(output[end]) and abs(left[0]) < ROUNDING * self.bench.p_scale:
                output[end] = limit
        given = np.isfinite(output)
        return self.standing(self.placed(output[given]), flow[given], output=output[given])

    def holding(self, wanted: float, points: int) -> tuple[int, float, float]:
        """(how it ended, output, flow [kg/s]) of the point with the first loop's value as wanted,
        looked for at so many flows; `kernel.holding` has the words."""
        bench = self.bench
        how, output, flow = holding.hold(
            self.plant, bench.cond, wanted, self.flows, points, OUTPUTS - 1,
            ROUNDING * bench.p_scale, np.empty(self.plant.actuators.each.size), bench.x,
            bench.slope, bench.coef, bench.probe)
        return int(how), float(output), float(flow)

    def standing(self, position: Array, flow: Array, output: Array | float = np.nan) -> Standing:
        """The resting states at these positions and flows [kg/s]."""
        _, x = self.surplus(position, flow)
        return Standing(np.broadcast_to(np.asarray(output, dtype=float), flow.shape).copy(),
                        position, x)

    def samples(self, at: Standing) -> dict[str, Array]:
        """Every recorded signal at these points, (n, n_items) as in a run."""
        bench, n = self.bench, len(at)
        traces = layout.traces(self.plant._replace(last_tick=n - 1, record_steps=1))
        outputs = np.repeat(at.output[:, None], self.plant.loops.size, 1)
        rest.note(self.plant, bench.cond, layout.rest(self.plant), _even(at.position), outputs,
                  _even(at.x), bench.slope, bench.coef, bench.probe, traces)
        return {name: values[:n] for name, values in traces._asdict().items()}

    def rates(self, at: Standing, lagged: bool = False) -> Array:
        """(n, m, m) ∂(dx/dt)/∂x of pressures, flows and speeds with the elements standing still.

        With `lagged` also of the wheel's pressure rise, where it lags.
        """
        bench = self.lagged if lagged else self.bench
        size, x = bench.small()[:bench.off.reading if lagged else bench.n], at.x
        if lagged:
            x = x.copy()
            x[:, bench.off.rise:bench.off.reading] = self.samples(at)["fan_pressure"]
        matrix = np.zeros((len(at), size.size, size.size))
        rest.jacobian(bench.plant, bench.cond, _even(at.position), _even(x), size, bench.x,
                      bench.slope, bench.coef, bench.probe, matrix)
        return matrix


def _even(rows: Array) -> Array:
    """The same in one piece of memory: for another layout the kernel would be compiled again."""
    return np.ascontiguousarray(rows)


def zeros(function: Callable[..., Array], low: Array, high: Array, *more: Array) -> Array:
    """Zeros between brackets, all at once; nan where a bracket holds none."""
    if low.size == 0:
        return low
    with np.errstate(invalid="ignore", divide="ignore"):
        found = elementwise.find_root(function, (low, high), args=more, tolerances={
            "xatol": 1e-13, "xrtol": 1e-13, "fatol": 0.0, "frtol": 0.0})
    return np.where(found.success, found.x, np.nan)
