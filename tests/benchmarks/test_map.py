"""The operating map: cost of a point with all solutions and eigenvalues, beside a cold search."""

from pathlib import Path

import numpy as np
import pytest

from simfan import api
from simfan.metrics.year import years
from simfan.steady.balance import NoBalance, rest_near
from simfan.steady.path import ground, strategy_map
from tests.benchmarks.conftest import Tell
from tests.benchmarks.runs import best

pytestmark = pytest.mark.benchmark

KILN = api.load(Path(__file__).parents[2] / "scenarios" / "kiln-air.toml")
METHODS = ("damper-at-kiln", "inlet-box-damper", "inlet-vanes", "variable-speed",
           "vanes-then-speed")
N = 60


def test_a_point_of_the_map(tell: Tell) -> None:
    maps = [strategy_map(KILN, name, N) for name in METHODS]
    points = sum(len(m.points) for m in maps)
    seconds = best(lambda: [strategy_map(KILN, name, N) for name in METHODS], 3)
    cold = best(lambda: [_cold(name, m.points) for name, m in zip(METHODS, maps, strict=True)], 1)
    tell("operating map, all solutions and eigenvalues",
         f"{1e3 * seconds / points:.2f} ms a point (reach for 5 ms)")
    tell("one root a point, scipy.optimize.root started cold",
         f"{1e3 * cold / points:.2f} ms, {cold / seconds:.1f} times the map's point")


def _cold(name: str, points: tuple[api.OperatingPoint, ...]) -> int:
    """Every point once more from the design point; how many were found."""
    here = ground(KILN, name)
    guess = np.zeros(here.search.bench.off.end)
    design = KILN.process.design
    guess[:3] = (here.search.bench.p0 + design.pressure, KILN.air.density * design.flow, 1.0)
    found = 0
    for p in points:
        try:
            rest_near(here.assembled, np.array([p.output]), guess)
            found += 1
        except NoBalance:
            pass
    return found


def test_the_year(tell: Tell) -> None:
    maps = tuple(strategy_map(KILN, name, N) for name in KILN.strategies)
    seconds = best(lambda: years(maps, KILN), 3)
    tell("a year of eight strategies, the map known",
         f"{1e3 * seconds:.0f} ms (reach for 1 s)")
