"""Points of a maker's curve that look like a slip in typing: told, and never of a sound curve."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simfan import api
from simfan.assemble.fan import rated_curve
from simfan.plant.fan import Fan
from simfan.plant.slips import far_off, of_fan, of_vanes
from simfan.plant.strategy import Strategy
from tests.plants import FANS, fan, plain
from tests.test_families import measured

SCENARIOS = sorted((Path(__file__).parents[1] / "scenarios").glob("*.toml"))
CURVES = [(name, key) for name in FANS for key in ("static_pressure", "shaft_power")]


def thinned(values: Any, points: int) -> list[float]:
    """So many of them, the ends among them."""
    return [values[round(k)] for k in np.linspace(0, len(values) - 1, points)]


@pytest.mark.parametrize("file", SCENARIOS, ids=lambda f: f.stem)
def test_no_curve_of_the_scenarios_is_doubted_not_even_at_five_points(file: Path) -> None:
    """Five is the fewest that a fan may have, and so the most bent between neighbours."""
    one = api.load(file).fan
    assert of_fan(one) == ()
    for values in (one.pressure, one.shaft_power):
        for points in range(5, len(values) + 1):
            assert far_off(thinned(one.flow, points), thinned(values, points)) == []


@pytest.mark.parametrize(("name", "key"), CURVES)
@pytest.mark.parametrize("factor", [10.0, 0.1, 100.0])
def test_a_decimal_point_that_slipped_is_found_at_every_inner_point(name: str, key: str,
                                                                    factor: float) -> None:
    """Alone, its sound neighbours are not blamed."""
    one = fan(name)
    for place in range(1, len(one["flow"]) - 1):
        values = list(one[key])
        values[place] *= factor
        assert far_off(one["flow"], values) == [place]


@pytest.mark.parametrize("place", [0, -1])
def test_one_that_slipped_up_at_an_end_is_found_beside_its_one_neighbour(place: int) -> None:
    one = fan("B")
    values = list(one["shaft_power"])
    values[place] *= 10.0
    assert far_off(one["flow"], values) == [place % len(values)]


def test_two_that_slipped_are_both_told() -> None:
    one = fan("B")
    values = list(one["shaft_power"])
    values[3] *= 10.0
    values[9] *= 10.0
    assert far_off(one["flow"], values) == [3, 9]


@given(st.integers(5, 40), st.floats(1.0, 2.0), st.floats(-0.1, 0.2), st.floats(0.0, 0.6))
def test_no_falling_curve_is_doubted_through_zero_or_not(n: int, bend: float, end: float,
                                                            peak: float) -> None:
    """Level up to its peak, then down to `end` of it by a power up to the square."""
    flow = np.linspace(0.0, 1.0, n)
    over = np.maximum(flow - peak, 0.0) / (1.0 - peak)
    values = 1.0 - (1.0 - end) * over ** bend
    assert far_off(list(flow + 1.0), list(values)) == []


def doubtful() -> Fan:
    one = fan("B")
    values = list(one["shaft_power"])
    values[5] *= 10.0
    return Fan.model_validate(one | {"shaft_power": values})


def test_the_words_say_what_where_and_what_would_fit() -> None:
    """The straight line between its neighbours, by hand."""
    one = doubtful()
    q, p = one.flow, one.shaft_power
    line = p[4] + (p[6] - p[4]) * (q[5] - q[4]) / (q[6] - q[4])
    (words,) = of_fan(one)
    assert words.startswith(f"fan.shaft_power: warning: {p[5] / 1e3:.4g} kW at {q[5]:.4g} m3/s "
                            f"(point 6) is far from its neighbours")
    assert f"more than half off the {line / 1e3:.4g} kW between them (a bound of our own)" in words


def test_it_is_told_with_the_assumptions_of_a_run_and_by_check() -> None:
    one = doubtful()
    case = plain(fan=one)
    (words,) = of_fan(one)
    assert rated_curve(one).assumed[0] == words
    assert words in api.describe(case)
    assert words in api.run(case, next(iter(case.strategies))).facts.assumed


def test_measured_curves_of_vanes_are_looked_at_too() -> None:
    vanes = measured()
    assert of_vanes("it", Strategy.model_validate(vanes)) == ()
    vanes["inlet_vanes"]["family"][1]["shaft_power"][2] *= 10.0
    (words,) = of_vanes("it", Strategy.model_validate(vanes))
    assert words.startswith("it: inlet_vanes at 50 %, shaft_power: warning: ")
