"""Zeros one place at a time, and where runs start, against scipy's searches."""

from collections.abc import Callable
from math import cos, exp

import numba
import numpy as np
import pytest
from scipy.optimize import brentq, elementwise

from simfan import api
from simfan.assemble import Assembled, assemble
from simfan.kernel import zero
from simfan.plant.case import Case
from simfan.steady.balance import hold
from simfan.steady.search import OUTPUTS, Search, zeros
from simfan.steady.tables import with_tables
from tests.plants import plain

FUNCTIONS: dict[str, tuple[Callable[[float], float], float, float, float]] = {
    "Wallis's cubic": (lambda x: x**3 - 2.0 * x - 5.0, 2.0, 3.0, 2.0945514815423265),
    "the cosine's fixed point": (lambda x: cos(x) - x, 0.0, 1.0, 0.7390851332151607),
    "a steep exponential": (lambda x: exp(40.0 * x) - 1.0, -1.0, 1.0, 0.0),
    "flat at its zero": (lambda x: (x - 0.3) ** 3, 0.0, 1.0, 0.3),
    "a jump": (lambda x: -1.0 if x < 0.625 else 2.0, 0.0, 1.0, 0.625),
}
"""Function, ends, and its zero: Wallis 1685 and OEIS A003957 to printed digits, else by design."""


opened = numba.njit(lambda low, at_low, high, at_high: zero.between(low, at_low, high, at_high,
                                                                    zero.CLOSE))
next_place = numba.njit(lambda bracket: zero.next_place(bracket))
closer = numba.njit(lambda bracket, x, value: zero.closer(bracket, x, value))
nearest = numba.njit(lambda bracket: zero.nearest(bracket))
"""Python may not call the kernel's own."""


def found(f: Callable[[float], float], low: float, high: float) -> tuple[float, int]:
    """(zero, looks)."""
    bracket, looks = opened(low, f(low), high, f(high)), 0
    while not bracket.done:
        x = next_place(bracket)
        bracket, looks = closer(bracket, x, f(x)), looks + 1
    return nearest(bracket), looks


@pytest.mark.parametrize("name", FUNCTIONS)
def test_zeros_are_those_of_closed_forms_and_of_scipy(name: str) -> None:
    f, low, high, expected = FUNCTIONS[name]
    x, looks = found(f, low, high)
    same = elementwise.find_root(np.vectorize(f), (low, high))
    flat = 1e-4 if name == "flat at its zero" else 1e-12
    assert x == pytest.approx(expected, abs=flat)
    assert x == pytest.approx(float(same.x), abs=flat)
    assert looks <= 80


@pytest.mark.parametrize("name", ["Wallis's cubic", "the cosine's fixed point"])
def test_a_smooth_zero_takes_far_fewer_looks_than_halving(name: str) -> None:
    """Halving takes log₂(1e13) = 43."""
    assert found(*FUNCTIONS[name][:3])[1] < 15


def scipy_output(search: Search, flow: float) -> float:
    """The highest output that gives a flow [kg/s], by scipy's search from the kernel's surplus."""
    def left(u: np.ndarray, m: np.ndarray) -> np.ndarray:
        return search.surplus(search.placed(u), m)[0]

    grid = np.linspace(0.0, 1.0, OUTPUTS)
    above = left(grid, np.full(OUTPUTS, flow)) > 0.0
    changes = np.flatnonzero(above[:-1] != above[1:])
    if not changes.size:
        return float("nan")
    k = changes[-1]
    return float(zeros(left, grid[k:k + 1], grid[k + 1:k + 2], np.array([flow]))[0])


def scipy_flow(search: Search, wanted: float, low: float, high: float) -> float:
    """The flow [kg/s] at which the first loop's value is as wanted, by Brent's method."""
    def amiss(flow: float) -> float:
        output = np.array([scipy_output(search, flow)])
        at = search.standing(search.placed(output), np.array([flow]), output)
        return float(search.samples(at)["true_value"][0, 0]) - wanted

    return float(brentq(amiss, low, high, xtol=1e-12))


PLANTS = {
    "damper before": (None, "before"), "damper after": (None, "after"), "speed": (None, "speed"),
    "measured vanes": ("kiln-air", "inlet-vanes"), "a pressure held": ("furnace-draft", None),
}
"""Scenario, None for the plain case, and strategy, None for the first."""


def assembled(what: str) -> tuple[Case, Assembled]:
    file, name = PLANTS[what]
    case = api.load(f"scenarios/{file}.toml") if file else plain()
    name, scan = name or next(iter(case.strategies)), case.control.scan
    return case, with_tables(case, name, assemble(case, name, scan / 12.0, scan))


@pytest.mark.parametrize("what", PLANTS)
@pytest.mark.parametrize("share", [0.6, 0.8, 1.0])
def test_a_run_starts_where_scipy_finds_it(what: str, share: float) -> None:
    case, plant = assembled(what)
    wanted = share * float(case.run.starts_at)
    start, search = hold(plant, wanted), Search(plant)
    if not start.reached:
        pytest.skip("out of this strategy's reach")
    i = search.bench.off.flow
    flow = start.x[i]
    assert scipy_flow(search, wanted, 0.98 * flow, 1.02 * flow) == pytest.approx(flow, rel=1e-9)
    assert scipy_output(search, flow) == pytest.approx(start.outputs[0], abs=1e-9)
    assert start.held == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("what", ["damper before", "speed"])
def test_operating_points_are_those_of_scipy(what: str) -> None:
    """Every change of sign between neighbours of the grid, by scipy's search."""
    search = Search(assembled(what)[1])
    for output in (0.1, 0.4, 0.7, 1.0):
        position = search.placed(np.array([output]))
        flows = search.flows
        left, _ = search.surplus(np.repeat(position, flows.size, 0), flows)
        k = np.flatnonzero((left[:-1] > 0.0) != (left[1:] > 0.0))

        def unbalanced(m: np.ndarray, position: np.ndarray = position) -> np.ndarray:
            return search.surplus(np.repeat(position, m.size, 0), m)[0]

        expected = zeros(unbalanced, flows[k], flows[k + 1])
        at = search.points_at(output)
        assert at.x[:, search.bench.off.flow] == pytest.approx(expected, rel=1e-10)


def test_a_value_out_of_reach_rests_at_the_nearer_limit() -> None:
    _, plant = assembled("damper before")
    most = hold(plant, 1e3)
    assert not most.reached and most.outputs[0] == 1.0
    assert hold(plant, -1e3).outputs[0] == 0.0
