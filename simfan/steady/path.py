"""The path of one strategy over its range: its points, its ends, its curves."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from simfan.assemble import Assembled, assemble
from simfan.operating_map import Curve, OperatingPoint, StrategyMap, Turndown
from simfan.plant.case import Case, Strategy
from simfan.steady.bench import Array
from simfan.steady.limits import end_words, in_skip_band, missed
from simfan.steady.points import process_gain, told
from simfan.steady.search import Search, Standing
from simfan.steady.tables import with_tables
from simfan.units import show

PARTS, ROUNDS = 16, 6
"""Into which the interval between a point within the limits and one beyond is cut, and how often
the part with the limit in it is cut again."""
CURVES = 6
LEAST_FLOW = 1e-3
"""Lowest flow looked at, of the largest in the curve's table."""


@dataclass(frozen=True)
class Ground:
    """A strategy assembled, with the search over its operating points."""

    case: Case
    name: str
    assembled: Assembled
    search: Search

    @property
    def strategy(self) -> Strategy:
        """Its description."""
        return self.case.strategies[self.name]

    def judged(self, at: Standing, gains: Array | None = None) -> tuple[OperatingPoint, ...]:
        """The points with the limits they are beyond."""
        points = told(self.case, self.assembled, self.search, at, gains)
        basis = self.assembled.curve.stall_basis
        return tuple(replace(p, missed=missed(self.case, self.strategy, p, basis))
                     for p in points)

    def at_flow(self, flow: float) -> OperatingPoint | None:
        """The point of one mass flow [kg/s]; None where no output gives it."""
        points = self.judged(self.search.along(np.array([flow])))
        return points[0] if points else None


@dataclass(frozen=True)
class Day:
    """The weather that a question is asked for, other than the scenario's."""

    ambient: float
    """Temperature of the surroundings [K]."""
    gas: float
    """Of the volume and what lies beyond it [K]."""


def ground(case: Case, name: str, assumption: str = "nominal", day: Day | None = None) -> Ground:
    """The strategy of a case, ready to be searched. Raises ScenarioError, NoBalance.

    Ducts and process keep their resistance on another day; only the air changes.
    """
    scan = case.control.scan
    assembled = with_tables(case, name, assemble(case, name, scan, scan, assumption))
    if day is not None:
        temperature = np.array([[day.gas, day.ambient, day.gas]])
        assembled = replace(assembled, base=assembled.base._replace(temperature=temperature))
    return Ground(case, name, assembled, Search(assembled))


def range_points(here: Ground, n: int) -> tuple[OperatingPoint, ...]:
    """The strategy's points over its range by falling flow, without gains and other solutions."""
    return here.judged(here.search.between(*_ends(here.search), n)[::-1])


def strategy_map(case: Case, name: str, n: int = 61, assumption: str = "nominal") -> StrategyMap:
    """The strategy's points over its range, n at least, with what ends it."""
    here = ground(case, name, assumption)
    search = here.search
    at = search.between(*_ends(search), n)[::-1]
    which, found = search.points(at.output)
    reached = _reached(search, at, which, found)
    gains = process_gain(search, at)
    points = tuple(replace(p, reached=bool(np.isclose(p.mass_flow, r, rtol=1e-6)))
                   for p, r in zip(here.judged(at, gains), reached, strict=True))
    others = _others(here, at, which, found, reached)
    return StrategyMap(
        name=name, method=here.strategy.method, elements=here.assembled.items["element"],
        points=points, others=others, turndown=turndown(here, points),
        curves=_curves(here, at), stall_line=_stall_line(here, at),
        findings=tuple(_findings(here, points, others)))


def _ends(search: Search) -> tuple[float, float]:
    """Lowest and highest mass flow of the range [kg/s]; the lowest is a forward flow."""
    i, least = search.bench.off.flow, LEAST_FLOW * search.bench.m_scale
    low, high = search.points_at(0.0), search.points_at(1.0)
    return max(float(low.x[0, i]), least), max(float(high.x[-1, i]), 2.0 * least)


def _reached(search: Search, at: Standing, which: Array, found: Standing) -> Array:
    """(n,) the mass flow at which a start comes to rest at each output, the output raised slowly.

    At a wanted flow with too much pressure it rises to the next point, with too little it falls;
    every second point from the lowest is one where the surplus falls with the flow.
    """
    flows, rests, here = found.x[:, search.bench.off.flow], np.empty(len(at)), 0.0
    for k in np.argsort(at.output, kind="stable"):
        some = flows[which == k]
        below = int(np.count_nonzero(some < here))
        here = float(some[min(below - below % 2, some.size - 1)])
        rests[k] = here
    return rests


def _others(here: Ground, at: Standing, which: Array, found: Standing, reached: Array
            ) -> tuple[OperatingPoint, ...]:
    """Solutions at the outputs of the points which are not on the path themselves."""
    i = here.search.bench.off.flow
    own = np.isclose(found.x[:, i], at.x[which, i], rtol=1e-6, atol=1e-6)
    rest = reached[which][~own]
    return tuple(replace(p, reached=bool(np.isclose(p.mass_flow, r, rtol=1e-6)))
                 for p, r in zip(here.judged(found[~own]), rest, strict=True))


def turndown(here: Ground, points: tuple[OperatingPoint, ...]) -> Turndown:
    """From the highest point within all limits down to the first that is not.

    A skip band inside the range does not end it: the drive jumps across. Where only points beyond
    a limit lie behind it, it does.
    """
    if all(p.missed for p in points):
        why = "; ".join(points[0].missed) if points else "no operating point"
        return Turndown(None, None, why, why)
    first = next(k for k, p in enumerate(points) if not p.missed)
    stop = next((k for k in range(first, len(points)) if not _passes(points[k])), len(points))
    last = max(k for k in range(first, stop) if not points[k].missed)
    highest, above = _end(here, points[first], points[:first][::-1], True)
    lowest, below = _end(here, points[last], points[last + 1:], False)
    return Turndown(highest, lowest, above, below)


def _passes(point: OperatingPoint) -> bool:
    """Whether nothing but a skip band is in the way."""
    return not point.missed or (len(point.missed) == 1 and in_skip_band(point))


def _end(here: Ground, within: OperatingPoint, further: tuple[OperatingPoint, ...], top: bool
         ) -> tuple[OperatingPoint, str]:
    """The last point within all limits, and what ends the range there."""
    if not further:
        return within, end_words(here.strategy, within, top)
    within, beyond = _edge(here, within, further[0])
    behind = next((p for p in further if not _passes(p)), beyond)
    said = dict.fromkeys(beyond.missed if not in_skip_band(beyond)
                         else (*beyond.missed, *behind.missed))
    return within, "; ".join(said)


def _edge(here: Ground, within: OperatingPoint, beyond: OperatingPoint
          ) -> tuple[OperatingPoint, OperatingPoint]:
    """The last point within the limits and the first beyond, by cutting the flow between."""
    for _ in range(ROUNDS):
        flows = np.linspace(within.mass_flow, beyond.mass_flow, PARTS + 1)[1:-1]
        inner = here.judged(here.search.along(flows))
        if len(inner) < flows.size:
            break
        row = (within, *inner, beyond)
        k = next(k for k, p in enumerate(row) if k and p.missed)
        within, beyond = row[k - 1], row[k]
    return within, beyond


def _curves(here: Ground, at: Standing) -> tuple[Curve, ...]:
    """The wheel's pressure against flow at settings along the path; everything open without one."""
    at = at if len(at) else here.search.points_at(1.0)[-1:]
    settings = np.unique(np.linspace(0, len(at) - 1, CURVES).astype(int))
    positions = np.unique(at.position[settings].round(9), axis=0)
    if set(here.assembled.items["element"]) == {"outlet damper"}:
        positions = positions[-1:]
    return tuple(_curve(here, row) for row in positions[::-1])


def _curve(here: Ground, position: Array) -> Curve:
    search = here.search
    flows = search.bench.m_scale * np.linspace(0.01, 1.05, 81)
    seen = search.samples(search.standing(np.repeat(position[None], flows.size, 0), flows))
    shown = seen["fan_pressure"][:, 0] >= 0.0
    what = ", ".join(f"{name} {show(float(p), 'fraction', digits=3)}" for name, p in
                     zip(here.assembled.items["element"], position, strict=True)
                     if name != "outlet damper")
    return Curve(what or "fan", tuple(seen["fan_flow"][shown, 0].tolist()),
                 tuple(seen["fan_pressure"][shown, 0].tolist()))


def _stall_line(here: Ground, at: Standing) -> Curve | None:
    """Where the stall line runs through the settings of the path; None where there is none."""
    seen = here.search.samples(at)
    stall, density = seen["stall_flow"][:, 0], seen["fan_density"][:, 0]
    known = np.isfinite(stall)
    if not known.any():
        return None
    line = here.search.samples(here.search.standing(
        at.position[known], (stall * density)[known]))
    return Curve(here.assembled.curve.stall_basis, tuple(line["fan_flow"][:, 0].tolist()),
                 tuple(line["fan_pressure"][:, 0].tolist()))


def _findings(here: Ground, points: tuple[OperatingPoint, ...],
              others: tuple[OperatingPoint, ...]) -> Iterator[str]:
    if here.search.points_at(1.0).x[-1, here.search.bench.off.flow] <= 0.0:
        yield ("no forward flow even at full output: the fixed pressure of "
               f"{show(here.case.process.fixed_pressure, 'pressure')} is not below what the fan "
               "gives")
    skipped = [p.flow for p in points if in_skip_band(p)]
    if skipped:
        yield (f"cannot rest from {show(min(skipped), 'volume flow', digits=3)} to "
               f"{show(max(skipped), 'volume flow', digits=3)}: skip band of the drive")
    twice = [p.output for p in others if p.stable and p.flow > 0.0]
    if twice:
        yield (f"between {100.0 * min(twice):.3g} and {100.0 * max(twice):.3g} % output there is "
               "more than one stable point: which one is met depends on where it comes from")
