"""The path of vanes and speed that takes the least electrical power, as a sequence table.

At each flow the vanes are free and the speed follows from the balance: one number to choose. First
the least of a grid of vane positions, chosen for all flows together so that neither element races
(dynamic programming); then each is bettered between its neighbours on the grid (scipy's bracketed
search for all flows at once); then a few breakpoints are kept.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import elementwise

from simfan.operating_map import BestPath, Share, column
from simfan.plant.case import Case, Strategy
from simfan.plant.sequence import Sequence
from simfan.steady.bench import Array
from simfan.steady.limits import inside, pressed, skipped
from simfan.steady.path import Ground, ground, strategy_map
from simfan.steady.points import grows
from simfan.steady.search import zeros

FLOWS = 41
VANES = 61
STEEPEST = 4.0
"""An element moves along the path at most so many times as far as the flow does, both as shares of
their ranges. An assumption, ours: a table steeper than this makes a loop twitch."""
LOWEST = 0.02
"""Least flow looked at, of the most. An assumption, ours."""
HALVINGS = 12
"""Of the interval between a flow that is served and one that is not."""
BREAKPOINTS = 8
"""Of the table at most, ends included."""
WORTH = 1e-4
"""A breakpoint is added while the table's elements are off the path by more, of their range."""
NEAR_BY = 25
"""Vane positions looked at between the neighbours of the chosen one on the grid."""
BEYOND = 1e15
"""Stands for the power of a setting beyond the limits [W]."""


@dataclass(frozen=True)
class Choice:
    """What vanes and the speed that goes with them mean at one flow; arrays of one shape."""

    speed: Array
    power: Array
    """[W]; infinite beyond a limit or where no speed serves."""
    held: Array


class Chooser:
    """Settings of vanes and speed that give a mass flow through the scenario's process."""

    def __init__(self, case: Case, name: str) -> None:
        self.here: Ground = ground(case, name)
        drive = self.here.strategy.speed
        assert drive is not None and self.here.strategy.inlet_vanes is not None
        self.drive, self.case = drive, case

    def speed(self, vanes: Array, flow: Array) -> Array:
        """(n,) speed reference that balances the plant; nan where none of the drive does."""
        search = self.here.search
        low, high = (np.full(flow.size, s) for s in (self.drive.minimum, self.drive.maximum))

        def left(n: Array, v: Array, m: Array) -> Array:
            return search.surplus(np.stack([v, n], axis=1), m)[0]

        return zeros(left, low, high, vanes, flow)

    def choice(self, vanes: Array, flow: Array) -> Choice:
        """Speed, power and held value of each pair; power is infinite beyond the limits."""
        speed = self.speed(vanes, flow)
        power, held = np.full(flow.size, np.inf), np.full(flow.size, np.nan)
        known = np.isfinite(speed)
        if known.any():
            at = self.here.search.standing(np.stack([vanes, speed], axis=1)[known], flow[known])
            seen = self.here.search.samples(at)
            power[known] = np.where(self._within(seen, speed[known]) & ~grows(self.here.search, at),
                                    seen["electrical_power"][:, 0], np.inf)
            held[known] = seen["true_value"][:, 0]
        return Choice(speed, power, held)

    def _within(self, seen: Mapping[str, Array], speed: Array) -> Array:
        """(n,) whether stall margin, motor load, speed, pressure and skip band are respected."""
        flow, stall = seen["fan_flow"][:, 0], seen["stall_flow"][:, 0]
        good = inside(self.case, (flow - stall) / flow, seen["motor_load"][:, 0],
                      seen["speed_ratio"][:, 0])
        good &= pressed(self.case, seen["node_pressure"][:, 0] - self.here.search.bench.p0)
        return good & ~skipped(self.drive, speed)

    def possible(self, flows: Array) -> Array:
        """(n,) whether any position of the vanes serves each flow [kg/s]."""
        m, v = (grid.ravel() for grid in np.meshgrid(flows, np.linspace(0.0, 1.0, VANES),
                                                     indexing="ij"))
        return np.isfinite(self.choice(v, m).power).reshape(flows.size, VANES).any(axis=1)


def best_path(case: Case, name: str) -> BestPath | str:
    """The path over the strategy's range, or the sentence why there is none."""
    strategy = case.strategies[name]
    if strategy.inlet_vanes is None or strategy.speed is None:
        return f"{name} has one element: there is no choice to make"
    chooser = Chooser(case, name)
    flows = _range(chooser)
    if flows.size == 0:
        return f"{name}: no setting of vanes and speed is within all limits over a range of flow"
    vanes = np.linspace(0.0, 1.0, VANES)
    m, v = (grid.ravel() for grid in np.meshgrid(flows, vanes, indexing="ij"))
    grid = chooser.choice(v, m)
    chosen = _together(grid.power.reshape(-1, vanes.size), grid.speed.reshape(-1, vanes.size),
                       vanes, strategy)
    if chosen.size < 3:
        return (f"{name}: no sequence leads through the limits with elements that move no faster "
                f"than {STEEPEST:g} times as far as the flow")
    least, positions, held = _bettered(chooser, flows[:chosen.size], vanes, chosen)
    table = _table(positions, held, strategy)
    ways = _ways(case, name, table)
    excess = _excess(ways[0], held, least)
    if not np.isfinite(excess):
        return f"{name}: a table of {BREAKPOINTS} breakpoints does not keep within the limits"
    return BestPath(held=tuple(held.tolist()), electrical_power=tuple(least.tolist()), table=table,
                    excess=excess, ways=ways)


def _range(chooser: Chooser) -> Array:
    """(FLOWS,) mass flows by falling value [kg/s]: from the most within the limits down to the
    first that no setting serves; none where hardly any is served."""
    i = chooser.here.search.bench.off.flow
    ends = np.array([[1.0, chooser.drive.maximum], [0.0, chooser.drive.minimum]])
    which, found = chooser.here.search.points_placed(ends)
    most, least = found.x[which == 0, i][-1], found.x[which == 1, i][0]
    if most <= 0.0:
        return np.empty(0)
    flows = np.linspace(most * (1.0 - 1e-6), max(least, LOWEST * most), FLOWS)
    good = chooser.possible(flows)
    first = int(np.argmax(good))
    last = first + int(np.argmin(np.append(good[first:], False))) - 1
    if last < first + 2:
        return np.empty(0)
    high, low = flows[first], flows[last]
    if first > 0:
        high = _edge(chooser, high, flows[first - 1])
    if last + 1 < flows.size:
        low = _edge(chooser, low, flows[last + 1])
    return np.linspace(high, low, FLOWS)


def _edge(chooser: Chooser, within: float, beyond: float) -> float:
    """The last mass flow served before one that is not [kg/s], by halving."""
    for _ in range(HALVINGS):
        middle = 0.5 * (within + beyond)
        if chooser.possible(np.array([middle]))[0]:
            within = middle
        else:
            beyond = middle
    return within


def _together(power: Array, speed: Array, vanes: Array, strategy: Strategy) -> Array:
    """(n_flows,) which vane position at each flow, so that the mean power is least and neither
    element moves further from one flow to the next than STEEPEST times the flow's share. Shorter
    where no such way leads further down."""
    drive = strategy.speed
    assert drive is not None
    width = max(drive.maximum - drive.minimum, 1e-9)
    cost, back = power[0].copy(), np.zeros(power.shape, dtype=int)
    far = STEEPEST / (power.shape[0] - 1) + vanes[1] - vanes[0]
    last = 0 if np.isfinite(cost).any() else -1
    for k in range(1, power.shape[0]):
        apart = np.abs(vanes[:, None] - vanes[None, :]) > far
        with np.errstate(invalid="ignore"):
            apart |= ~(np.abs(speed[k][:, None] - speed[k - 1][None, :]) / width <= far)
        ways = np.where(apart, np.inf, cost[None, :])
        back[k] = np.argmin(ways, axis=1)
        onward = power[k] + ways[np.arange(vanes.size), back[k]]
        if not np.isfinite(onward).any():
            break
        cost, last = onward, k
    chosen = np.full(last + 1, int(np.argmin(cost)), dtype=int)
    for k in range(last, 0, -1):
        chosen[k - 1] = back[k][chosen[k]]
    return chosen


def _bettered(chooser: Chooser, flows: Array, vanes: Array, chosen: Array
              ) -> tuple[Array, Array, Array]:
    """((n,) power, (n, 2) vanes and speed, (n,) held) with each vane position moved, within its
    cells of the grid, to the least power."""
    def power(v: Array, m: Array) -> Array:
        return np.nan_to_num(chooser.choice(v, m).power, posinf=BEYOND)

    cell = vanes[1] - vanes[0]
    near = vanes[chosen][:, None] + cell * np.linspace(-1.0, 1.0, NEAR_BY)
    near = near.clip(0.0, 1.0)
    cost = power(near.ravel(), np.repeat(flows, NEAR_BY)).reshape(near.shape)
    at = np.argmin(cost, axis=1)
    rows = np.arange(flows.size)
    best = near[rows, at]
    inside = (at > 0) & (at < NEAR_BY - 1)
    if inside.any():
        around = tuple(near[rows[inside], at[inside] + side] for side in (-1, 0, 1))
        with np.errstate(invalid="ignore"):  # a bracket level to rounding is left as it is
            found = elementwise.find_minimum(power, around, args=(flows[inside],),
                                             tolerances={"xatol": 1e-6})
        best[inside] = np.where(found.success & (found.f_x < BEYOND), found.x, best[inside])
    end = chooser.choice(best, flows)
    return end.power, np.stack([best, end.speed], axis=1), end.held


def _table(positions: Array, held: Array, strategy: Strategy) -> dict[str, tuple[float, ...]]:
    """Breakpoints of the output, which runs evenly with the held value, so that the loop's gain is
    even: the points furthest from the straight lines are added until they are near enough."""
    drive = strategy.speed
    assert drive is not None
    output = (held[::-1] - held[-1]) / (held[0] - held[-1])
    path = positions[::-1].copy()
    width = np.array([1.0, max(drive.maximum - drive.minimum, 1e-9)])
    kept = [0, output.size - 1]
    while len(kept) < BREAKPOINTS:
        lines = np.stack([np.interp(output, output[kept], path[kept, i]) for i in (0, 1)], axis=1)
        off = (np.abs(lines - path) / width).max(axis=1)
        if off.max() < WORTH:
            break
        kept = sorted({*kept, int(np.argmax(off))})
    rounded = path[kept].round(4)
    rounded[:, 0] = rounded[:, 0].clip(0.0, 1.0)
    rounded[:, 1] = rounded[:, 1].clip(drive.minimum, drive.maximum)
    return {"output": tuple(output[kept].round(4).tolist()),
            "inlet vanes": tuple(rounded[:, 0].tolist()), "speed": tuple(rounded[:, 1].tolist())}


def with_table(case: Case, name: str, table: Mapping[str, tuple[float, ...]]) -> Case:
    """The case with this sequence table in the strategy."""
    return _with(case, name, Sequence(output=table["output"], inlet_vanes=table["inlet vanes"],
                                      speed=table["speed"]))


def _with(case: Case, name: str, sequence: Sequence) -> Case:
    changed = case.strategies[name].model_copy(update={"sequence": sequence})
    return case.model_copy(update={"strategies": {**case.strategies, name: changed}})


def _ways(case: Case, name: str, table: Mapping[str, tuple[float, ...]]) -> tuple[Share, ...]:
    """The table, and beside it vanes first, speed first and both together."""
    cases = {"best path": with_table(case, name, table)}
    for order in ("vanes first", "speed first", "together"):
        cases[order] = _with(case, name, Sequence(order=order))
    found = []
    for way, changed in cases.items():
        one = strategy_map(changed, name)
        good = [p for p in one.points if not p.missed]
        found.append(Share(way, tuple(column(good, "held").tolist()),
                           tuple(column(good, "electrical_power").tolist()),
                           tuple(column(good, "stall_margin").tolist()), one.gain_ratio))
    return tuple(found)


def _excess(way: Share, held: Array, least: Array) -> float:
    """Largest power of the table over the least, less one, where both are within the limits."""
    order = np.argsort(way.held)
    if order.size < 2:
        return float("nan")
    given = np.interp(held, np.array(way.held)[order], np.array(way.electrical_power)[order],
                      left=np.nan, right=np.nan)
    both = (given / least)[np.isfinite(given)]
    return float(both.max() - 1.0) if both.size else float("nan")
