"""The operating map of a scenario: every strategy over its range, from the plant that runs."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from simfan.assemble.fan import rated_curve
from simfan.operating_map import Curve, OperatingMap, StrategyMap
from simfan.plant.case import Case
from simfan.scenario import assumed
from simfan.steady.bands import bands
from simfan.steady.best_path import best_path
from simfan.steady.path import strategy_map
from simfan.steady.reach import region

POINTS = 61
"""Of a strategy's range, ends included."""
Progress = Callable[[str, float], None]


def operating_map(case: Case, names: Sequence[str], points: int = POINTS,
                  progress: Progress | None = None) -> OperatingMap:
    """The named strategies over their ranges, `points` points each.

    `progress(strategy, share)` is called on the way. Raises ScenarioError for a plant that cannot
    be assembled.
    """
    found: list[StrategyMap] = []
    for k, name in enumerate(names):
        found.append(_whole(case, name, points))
        if progress:
            progress(name, (k + 1) / len(names))
    return OperatingMap(case.title, case.control.holds, case.control.held_kind, tuple(found),
                        _system(case), _assumed(case))


def _whole(case: Case, name: str, points: int) -> StrategyMap:
    """One strategy with all that is asked of it."""
    strategy = case.strategies[name]
    best = None
    said: tuple[str, ...] = ()
    if strategy.inlet_vanes and strategy.speed:
        found = best_path(case, name)
        best, said = (None, (found,)) if isinstance(found, str) else (found, ())
    one = strategy_map(case, name, points)
    return replace(one, region=region(case, name), bands=bands(case, name), best_path=best,
                   findings=(*one.findings, *said))


def _assumed(case: Case) -> tuple[str, ...]:
    """Every default of the scenario and of the fan's curve that the points rest on."""
    return (*assumed(case), *rated_curve(case.fan).assumed,
            "current at the nameplate's power factor at every load, which is too little at part "
            "load (assumed)",
            "ducts and process keep their resistance; no wear, no fouling (assumed)")


def _system(case: Case) -> Curve:
    """What duct and process need against flow, at design conditions."""
    process = case.process
    flow = np.linspace(0.0, case.fan.flow[-1], 121)
    rise = process.design.pressure - process.fixed_pressure
    pressure = process.fixed_pressure + rise * (flow / process.design.flow) ** 2
    return Curve("system", tuple(flow.tolist()), tuple(pressure.tolist()))
