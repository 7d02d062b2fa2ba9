"""What a bump test finds, on processes whose answer is known.

1/(s+1)³ and 1/(s+1)⁴: times at which the step answer 1 − e^−t·Σt^k/k! passes .283 and 1 − 1/e,
worked out beforehand with another program; τ = 1.5(t63.2 − t28.3), θ = t63.2 − τ from textbooks,
from memory. Bands of the least-squares fits: coverage counted over records with independent noise,
against the binomial distribution (SciPy).
"""

from math import factorial

import numpy as np
import pytest
from scipy.stats import binom

from simfan.loops.identify import fit_first_order, fit_second_order, two_point
from simfan.loops.models import FirstOrder, SecondOrder
from simfan.steady.bench import Array
from tests.published.record import checked

STEP_AT = 2.0


def lags_in_a_row(n: int, duration: float = 60.0) -> tuple[Array, Array, Array]:
    """(time, value, output) of 1/(s + 1)ⁿ, the output stepped by one."""
    time = np.arange(0.0, duration, 0.01)
    t = np.maximum(time - STEP_AT, 0.0)
    value = 1.0 - np.exp(-t) * sum(t**k / factorial(k) for k in range(n))
    return time, value, (time >= STEP_AT).astype(float)


# lags in a row, t28.3, t63.2, τ, θ [s]
TWO_POINT = [(3, 1.8507, 3.2583, 2.1113, 1.1470), (4, 2.6868, 4.3520, 2.4978, 1.8542)]


@pytest.mark.parametrize("row", TWO_POINT, ids=["three lags", "four lags"])
def test_two_points_of_a_step_answer(row: tuple[int, float, float, float, float]) -> None:
    n, early, late, lag, dead_time = row
    found = two_point(*lags_in_a_row(n))
    name = f"{n} lags of 1 s"
    assert found.early == checked(early, f"{name}: t28.3 [s]", abs=6e-5)
    assert found.late == checked(late, f"{name}: t63.2 [s]", abs=6e-5)
    assert found.process.lag == checked(lag, f"{name}: τ [s]", abs=6e-5)
    assert found.process.dead_time == checked(dead_time, f"{name}: θ [s]", abs=6e-5)
    assert found.process.gain == checked(1.0, f"{name}: K", abs=1e-6)


PLANTS = [FirstOrder(1.0, 5.0, 1.0), FirstOrder(-2.5, 3.0, 6.0), FirstOrder(0.4, 20.0, 0.0)]


def two_way(model: FirstOrder | SecondOrder, at: float = 40.0, starts: float = 30.0,
            scan: float = 0.25) -> tuple[Array, Array, Array]:
    """(time, value, output) of a two-way bump: +2, −4, +2 about its start."""
    reach = 8.0 * (model.lag + model.dead_time)
    time = np.arange(0.0, 4.0 * reach, scan)
    edges = np.ceil(reach * np.array([0.5, 1.5, 2.5]) / scan) * scan
    heights = (2.0, -4.0, 2.0)
    output = at + sum(h * (time >= e - 1e-9) for e, h in zip(edges, heights, strict=True))
    value = starts + sum(h * model.step(time - e) for e, h in zip(edges, heights, strict=True))
    return time, value, output


@pytest.mark.parametrize("true", PLANTS, ids=str)
def test_an_exact_first_order_plant_is_found(true: FirstOrder) -> None:
    """Without noise, within 1 %; a dead time of none to 1 % of the lag."""
    found = fit_first_order(*two_way(true))
    assert isinstance(found.process, FirstOrder)
    assert found.process.gain == checked(true.gain, "K", rel=0.01)
    assert found.process.lag == checked(true.lag, "τ [s]", rel=0.01)
    assert found.process.dead_time == checked(true.dead_time, "θ [s]", rel=0.01,
                                              abs=0.01 * true.lag)
    assert found.start == checked(30.0, "start", rel=1e-4)


@pytest.mark.parametrize("true", PLANTS[:2], ids=str)
def test_two_points_find_it_too(true: FirstOrder) -> None:
    """Levels 28.3 and 63.2 % are those of e^(−1/3) and e^(−1), printed to three digits."""
    time = np.arange(0.0, 200.0, 0.05)
    value = 30.0 + 2.0 * true.step(time - STEP_AT)
    found = two_point(time, value, 40.0 + 2.0 * (time >= STEP_AT)).process
    assert tuple(vars(found).values()) == checked(tuple(vars(true).values()), "K, τ, θ", rel=0.01)


SECOND = [SecondOrder(1.0, 8.0, 3.0, 1.0), SecondOrder(-0.7, 6.0, 6.0, 2.0)]


@pytest.mark.parametrize("true", SECOND, ids=str)
def test_an_exact_second_order_plant_is_found(true: SecondOrder) -> None:
    """Within 1 %; of two equal lags, the answer hardly tells how they differ: their sum."""
    found = fit_second_order(*two_way(true)).process
    assert isinstance(found, SecondOrder)
    assert found.gain == checked(true.gain, "K", rel=0.01)
    assert found.lag + found.second_lag == checked(true.lag + true.second_lag, "τ₁ + τ₂ [s]",
                                                   rel=0.01)
    assert found.dead_time == checked(true.dead_time, "θ [s]", rel=0.01)
    if true.lag > true.second_lag:
        assert found.lag == checked(true.lag, "τ₁ [s]", rel=0.01)


RECORDS = 150
NOISY = [(PLANTS[0], 0.3), (PLANTS[1], 0.05), (SECOND[0], 0.2)]


@pytest.mark.parametrize(("true", "noise"), NOISY, ids=["a lag", "a dead time", "two lags"])
def test_the_bands_cover_the_truth_as_often_as_they_say(
    true: FirstOrder | SecondOrder, noise: float) -> None:
    """95 % of 150 noisy records; each count within what a fair band leaves once in two thousand."""
    fit = fit_first_order if isinstance(true, FirstOrder) else fit_second_order
    time, value, output = two_way(true, scan=0.8)
    rng, counts = np.random.default_rng(20), dict.fromkeys(vars(true), 0)
    for _ in range(RECORDS):
        found = fit(time, value + noise * rng.standard_normal(time.size), output)
        for field, half in found.half_width.items():
            counts[field] += abs(getattr(found.process, field) - getattr(true, field)) <= half
    low, high = binom.ppf([2.5e-4, 1.0 - 2.5e-4], RECORDS, 0.95)
    assert all(low <= count <= high for count in counts.values()), counts
