"""How many runs for how much certainty, and which inputs matter.

After N runs drawn at random of which k failed, a share of failures ε is excluded with confidence
1 − β once Σ_{i ≤ k} C(N, i)·ε^i·(1 − ε)^(N−i) ≤ β: for k = 0 the smallest N is that of Wilks
(1941). Solved for ε it is the one-sided bound of Clopper and Pearson (1934). Numbers worked out
beforehand from these formulas.

The function of Ishigami and Homma (1990), sin x₁ + a·sin² x₂ + b·x₃⁴·sin x₁ with each x even over
−π to π, has

    V₁ = (1 + bπ⁴/5)²/2,  V₂ = a²/8,  V₁₃ = 8b²π⁸/225,  V = V₁ + V₂ + V₁₃

A failure that one random run in 1/p hits takes 1/p of them on average (geometric distribution;
textbook).
"""

import numpy as np
import pytest
from scipy.stats import binom, binomtest

from simfan.stress.confidence import failure_bound, runs_needed, statement
from simfan.stress.search import search, told
from simfan.stress.sensitivity import sensitivity
from simfan.stress.tally import Array, Budget, Evaluate
from tests.published.record import checked

# share that passes, confidence, failures, runs
WILKS = [(0.95, 0.95, 0, 59), (0.99, 0.95, 0, 299), (0.99, 0.99, 0, 459), (0.95, 0.95, 1, 93),
         (0.95, 0.95, 2, 124)]


@pytest.mark.parametrize("passes, confidence, failures, expected_runs", WILKS)
def test_runs_for_a_statement(passes: float, confidence: float, failures: int,
                              expected_runs: int) -> None:
    """Wilks (1941): one run fewer does not do."""
    assert runs_needed(passes, confidence, failures) == checked(expected_runs, "runs", abs=0.5)
    fewer = binom.cdf(failures, expected_runs - 1, 1.0 - passes)
    assert binom.cdf(failures, expected_runs, 1.0 - passes) <= 1.0 - confidence < fewer


def test_the_bound_on_the_share_that_fails() -> None:
    """Clopper and Pearson (1934); an interval has half of the doubt on each side, its lower end is
    the bound of those that pass."""
    assert failure_bound(0, 59) == checked(0.04951, "0 of 59, from one side", abs=5e-6)
    low, high = 1.0 - failure_bound(95, 100, 0.975), failure_bound(5, 100, 0.975)
    assert low == checked(0.01643, "5 of 100, lower end", abs=5e-6)
    assert high == checked(0.11283, "5 of 100, upper end", abs=5e-6)


@pytest.mark.parametrize("failures, runs", [(0, 59), (1, 93), (5, 100), (99, 100), (17, 20_000)])
def test_the_bound_is_that_of_an_exact_test(failures: int, runs: int) -> None:
    """scipy.stats.binomtest, whose one-sided test leaves all of the doubt above."""
    found = binomtest(failures, runs, alternative="less").proportion_ci(0.95, method="exact")
    assert failure_bound(failures, runs) == checked(found.high, "upper end", rel=1e-9)


@pytest.mark.parametrize("share", [0.002, 0.03, 0.2])
def test_the_bound_holds_as_often_as_it_says(share: float) -> None:
    """Summed over all counts that 300 runs can give: it lies above the true share at least 95 times
    in 100 (Clopper and Pearson 1934)."""
    counts = np.arange(301)
    above = np.array([failure_bound(int(k), 300) >= share for k in counts])
    assert float(binom.pmf(counts, 300, share) @ above) >= 0.95


def test_the_statement_in_words() -> None:
    assert statement(0, 59) == ("59 runs, none failed: with 95 % confidence at least 95 % of this "
                                "space passes")
    assert statement(0, 459, 0.99) == ("459 runs, none failed: with 99 % confidence at least 99 % "
                                       "of this space passes")
    assert statement(0, 58) == ("58 runs, none failed: with 95 % confidence at least 94 % of this "
                                "space passes")
    for failures, runs in ((0, 1), (0, 100_000), (3, 500), (7, 7)):
        assert "safe" not in statement(failures, runs)


def ishigami(x: Array) -> Array:
    """(n, 1), a 7, b 0.1, of points of the cube."""
    y = np.pi * (2.0 * x - 1.0)
    return (np.sin(y[:, 0]) * (1.0 + 0.1 * y[:, 2]**4) + 7.0 * np.sin(y[:, 1])**2)[:, None]


FIRST, TOTAL = (0.31391, 0.44241, 0.0), (0.55759, 0.44241, 0.24368)


def test_the_closed_form_of_ishigami_and_homma() -> None:
    """The formulas above give the numbers that the next test is held against."""
    a, b = 7.0, 0.1
    v1, v2 = 0.5 * (1.0 + b * np.pi**4 / 5.0)**2, a**2 / 8.0
    v13 = 8.0 * b**2 * np.pi**8 / 225.0
    v = v1 + v2 + v13
    assert np.array([v1, v2, 0.0]) / v == checked(FIRST, "first order", abs=5e-6)
    assert np.array([v1 + v13, v2, v13]) / v == checked(TOTAL, "total", abs=5e-6)


def test_which_inputs_matter() -> None:
    """Ishigami and Homma (1990), from 40,960 runs; the bands of 95 % hold the true values."""
    found = sensitivity(ishigami, 3, 40_960, seed=1)[0]
    assert found.first == checked(FIRST, "first order", abs=0.015)
    assert found.total == checked(TOTAL, "total", abs=0.015)
    for bands, true in ((found.first_band, FIRST), (found.total_band, TOTAL)):
        assert (bands[:, 0] <= true).all() and (true <= bands[:, 1]).all()


RADIUS, SEARCHED, DRAWN = 0.05, 40, 300
"""Of a ball of failures in the cube of three inputs; how many such balls."""


def ball(seed: int) -> tuple[Evaluate, np.random.Generator]:
    """Failures about a point drawn at random, and who drew it."""
    rng = np.random.default_rng([41, seed])
    centre = rng.uniform(RADIUS, 1.0 - RADIUS, 3)
    return lambda x: (np.linalg.norm(x - centre, axis=1) / RADIUS - 1.0)[:, None], rng


def test_a_narrow_window_is_found_sooner_than_at_random() -> None:
    """The mean of 1/p random runs over so many windows has a standard deviation of 1/p/√windows;
    the search needs less than a fifth of it on average, and never as many."""
    expected = 1.0 / (4.0 / 3.0 * np.pi * RADIUS**3)
    at_random = []
    for distance, rng in map(ball, range(DRAWN)):
        broken = distance(rng.random((25_000, 3)))[:, 0] < 0.0
        assert broken.any()
        at_random.append(int(np.argmax(broken)) + 1)
    assert np.mean(at_random) == checked(expected, "runs at random, mean",
                                         abs=2.0 * expected / np.sqrt(DRAWN))
    searched = [search(ball(seed)[0], 3, 1, Budget(500), seed).worst[0].first_broken
                for seed in range(SEARCHED)]
    counted = [n for n in searched if n is not None]
    assert len(counted) == SEARCHED and max(counted) < expected
    assert np.mean(counted) < 0.2 * expected


def test_a_space_without_a_failure_is_not_called_safe() -> None:
    """The answer is "none found in N runs"."""
    found = search(lambda x: 0.1 + x[:, :1], 2, 1, Budget(128), 1).worst[0]
    assert told(found) == f"none found in {found.runs} runs"
