"""What a method can give whatever process it meets: settings for a flow and a pressure at once.

The process is taken away: with flow and element settings given, the branch of the fan says which
pressure it gives. An outlet damper is placed before the volume here, which moves no steady point.
"""

from dataclasses import dataclass

import numpy as np

from simfan.assemble import assemble
from simfan.operating_map import Region, Setting
from simfan.plant.case import Case
from simfan.steady.bench import Array
from simfan.steady.limits import inside, skipped
from simfan.steady.search import Search, Standing, zeros
from simfan.units import show

FLOWS = 61
SETTINGS = 61
"""Blade positions looked at between shut and open."""
HALVINGS = 30


@dataclass(frozen=True)
class Given:
    """What settings give at a flow, (n,) each."""

    pressure: Array
    """Of the volume against the air around it [Pa]."""
    margin: Array
    """(Q − Q_stall)/Q [1]; nan where there is no line."""
    load: Array
    speed: Array
    electrical: Array
    """[W]"""
    flow: Array
    """[m³/s]"""


class Freed:
    """A strategy without its process."""

    def __init__(self, case: Case, name: str) -> None:
        self.case = case = _damper_before(case, name)
        self.strategy = strategy = case.strategies[name]
        self.assembled = assemble(case, name, case.control.scan, case.control.scan)
        self.search = Search(self.assembled)
        self.names = self.assembled.items["element"]
        drive = strategy.speed
        self.speeds = (drive.minimum, drive.maximum) if drive else None
        self.has_blades = self.names[0] != "speed"
        self.sign = -1.0 if case.ductwork.volume_side == "inlet" else 1.0

    def gives(self, position: Array, flow: Array) -> Given:
        """What settings (n, n_elements) give at mass flows (n,) [kg/s].

        Behind the fan the volume's pressure is what the branch gives. Before it the pressure is
        sought at which the branch ends in the surroundings, for the gas thins with it.
        """
        search = self.search
        around = search.bench.p0
        if self.sign > 0.0:
            left, x = search.surplus(position, flow, np.full(flow.size, around))
            back = np.where(left > -around, around + left, np.nan)
        else:
            back = zeros(
                lambda p, k: search.surplus(position[k.astype(int)], flow[k.astype(int)], p)[0],
                np.full(flow.size, 0.3 * around), np.full(flow.size, 2.0 * around),
                np.arange(flow.size))
            _, x = search.surplus(position, flow, np.where(np.isfinite(back), back, around))
        x[:, 0] = np.where(np.isfinite(back), back, around)
        seen = search.samples(Standing(np.full(flow.size, np.nan), position, x))
        q, stall = seen["fan_flow"][:, 0], seen["stall_flow"][:, 0]
        return Given(back - search.bench.p0, (q - stall) / q, seen["motor_load"][:, 0],
                     seen["speed_ratio"][:, 0], seen["electrical_power"][:, 0], q)

    def within(self, given: Given) -> Array:
        """(n,) whether stall margin, motor load and speed are within their limits."""
        return (inside(self.case, given.margin, given.load, given.speed)
                & np.isfinite(given.pressure))

    def placed(self, blades: Array, speed: Array) -> Array:
        """(n, n_elements) positions from blades and speed, as far as the strategy has them."""
        columns = ([blades] if self.has_blades else []) + ([speed] if self.speeds else [])
        return np.stack(columns, axis=1)


def region(case: Case, name: str) -> Region:
    """The area of flow and pressure that the strategy can reach within its limits.

    At each flow and blade position what the fan gives rises with speed, and so do motor load and
    stall flow: the highest speed within the limits is found by halving. Before the fan, where it
    draws, its most is the lowest pressure.
    """
    free = Freed(case, name)
    flows = free.search.bench.m_scale * np.linspace(0.01, 1.0, FLOWS)
    blades = np.linspace(0.0, 1.0, SETTINGS) if free.has_blades else np.ones(1)
    m, v = (grid.ravel() for grid in np.meshgrid(flows, blades, indexing="ij"))
    low, high, good = _speeds(free, m, v)
    best = free.gives(free.placed(v, high), m)
    least = free.gives(free.placed(v, low), m)
    shape = (flows.size, blades.size)
    given, weakest = free.sign * best.pressure, free.sign * least.pressure
    top = np.where(good & (given > -1e-9), given, -np.inf).reshape(shape)
    at = np.argmax(top, axis=1)
    rows = np.arange(flows.size)
    reachable = np.isfinite(top[rows, at])
    bottom = np.where(good, weakest, np.inf).reshape(shape).min(axis=1)
    positions = free.placed(v, high).reshape(*shape, -1)[rows, at]
    open_up = free.gives(free.placed(np.ones(flows.size), high.reshape(shape)[:, -1]), flows).flow
    q = np.where(reachable, free.gives(positions, flows).flow, open_up)
    ends = [free.sign * end for end in (np.maximum(bottom, 0.0), top[rows, at])]
    lowest, highest = ends[::int(free.sign)]
    return Region(
        flow=tuple(q.tolist()),
        lowest=_where(reachable, lowest), highest=_where(reachable, highest),
        highest_at=tuple(dict(zip(free.names, p.tolist(), strict=True)) if r else None
                         for p, r in zip(positions, reachable, strict=True)),
        rated_open=_rated_open(free, flows))


def _speeds(free: Freed, m: Array, v: Array) -> tuple[Array, Array, Array]:
    """(lowest speed, highest within the limits, whether any is) at each flow and blade position."""
    if free.speeds is None:
        n = np.ones(m.size)
        return n, n, free.within(free.gives(free.placed(v, n), m))
    low, high = (np.full(m.size, s) for s in free.speeds)
    good = free.within(free.gives(free.placed(v, low), m))
    bottom = low
    whole = free.within(free.gives(free.placed(v, high), m))
    a, b = low.copy(), high.copy()
    for _ in range(HALVINGS):
        middle = 0.5 * (a + b)
        inside = free.within(free.gives(free.placed(v, middle), m))
        a, b = np.where(inside, middle, a), np.where(inside, b, middle)
    top, drive = np.where(whole, high, a), free.strategy.speed
    if drive is not None and drive.skip is not None:
        top = np.where(skipped(drive, top), drive.skip.low, top)
    return bottom, top, good


def _rated_open(free: Freed, flows: Array) -> tuple[float | None, ...]:
    """Pressure at rated speed with everything open."""
    ones = np.ones(flows.size)
    given = free.gives(free.placed(ones, ones), flows)
    return _where((free.sign * given.pressure >= 0.0) & free.within(given), given.pressure)


def settings_for_both(case: Case, name: str, flow: float, pressure: float
                      ) -> Setting | str:
    """Where the elements stand to give a flow [m³/s at the density where the fan's branch begins]
    and a pressure of the volume [Pa, gauge] at once, at the least electrical power; or the sentence
    why nothing does."""
    free = Freed(case, name)
    if free.speeds is None or not free.has_blades:
        return (f"{name} has one element: with the process given, pressure follows from flow; "
                "two targets take vanes and speed")
    blades = np.linspace(0.0, 1.0, 4 * SETTINGS)
    n = _speed_for(free, np.full(blades.size, flow), blades, pressure)
    known = np.isfinite(n)
    if not known.any():
        return _why_not(free, flow, pressure)
    position = free.placed(blades[known], n[known])
    given = free.gives(position, np.repeat(_mass(free, np.array([flow])), len(position)))
    good = free.within(given) & ~skipped(free.strategy.speed, n[known])
    if not good.any():
        return (f"{name} can give both only beyond its limits of stall margin, motor load or "
                f"speed, or in the drive's skip band: with {_span(given.load)} motor load, at "
                f"{_span(given.speed)} of rated speed")
    k = int(np.argmin(np.where(good, given.electrical, np.inf)))
    margin = float(given.margin[k])
    return Setting(dict(zip(free.names, position[k].tolist(), strict=True)),
                   float(given.speed[k]), float(given.electrical[k]), float(given.load[k]),
                   margin if np.isfinite(margin) else None)


def _speed_for(free: Freed, flow: Array, blades: Array, pressure: float) -> Array:
    """(n,) speed that gives the pressure at the flow; nan where none does."""
    assert free.speeds is not None
    low, high = (np.full(flow.size, s) for s in free.speeds)

    def lacking(n: Array, v: Array, q: Array) -> Array:
        position = free.placed(v, n)
        return free.gives(position, _mass(free, q)).pressure - pressure

    return zeros(lacking, low, high, blades, flow)


def _mass(free: Freed, flow: Array) -> Array:
    """Mass flow [kg/s] of a volume flow at the density where the fan's branch begins."""
    search = free.search
    first = int(search.plant.network.branch[0].first)
    gas = search.plant.gas.R * search.bench.cond.temperature[first]
    return flow * search.bench.p0 / gas


def _why_not(free: Freed, flow: float, pressure: float) -> str:
    assert free.speeds is not None
    blades, speeds = (grid.ravel() for grid in np.meshgrid(np.linspace(0.0, 1.0, SETTINGS),
                                                           np.array(free.speeds)))
    given = free.sign * free.gives(
        free.placed(blades, speeds),
        np.repeat(_mass(free, np.array([flow])), blades.size)).pressure
    given = given[given >= 0.0]
    if given.size == 0:
        return f"at {show(flow, 'volume flow', digits=4)} no setting gives any pressure"
    least, most = (show(float(free.sign * p), "pressure", digits=4)
                   for p in (given.min(), given.max()))
    return (f"at {show(flow, 'volume flow', digits=4)} the settings give {least} to {most}; "
            f"{show(pressure, 'pressure', digits=4)} is not among them")


def _span(shares: Array) -> str:
    """Lowest to highest, in percent."""
    return f"{100.0 * shares.min():.3g} to {100.0 * shares.max():.3g} %"


def _where(known: Array, values: Array) -> tuple[float | None, ...]:
    return tuple(float(v) if k else None for k, v in zip(known, values, strict=True))


def _damper_before(case: Case, name: str) -> Case:
    """The case with the strategy's outlet damper before the volume."""
    strategy = case.strategies[name]
    if strategy.outlet_damper is None or strategy.outlet_damper.place != "after volume":
        return case
    moved = strategy.outlet_damper.model_copy(update={"place": "before volume"})
    changed = strategy.model_copy(update={"outlet_damper": moved})
    return case.model_copy(update={"strategies": {**case.strategies, name: changed}})
