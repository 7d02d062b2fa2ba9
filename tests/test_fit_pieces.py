"""The arithmetic of a fit against closed forms and reference libraries."""

from math import sqrt

import numpy as np
import pytest
from scipy.stats import linregress
from scipy.stats import t as student

from simfan.fitting.noise import autocorrelation, memory, noise
from simfan.fitting.sensitivity import KNOWN, alone, collinearity, together, unknown
from simfan.fitting.solve import sure

RANDOM = np.random.default_rng(7)
TIME = np.arange(4000) * 0.5


def test_noise_is_found_under_a_signal_that_moves() -> None:
    """A swing forty times the noise and a step do not count as noise. The median of 4000
    differences is good to about 2 %."""
    signal = 10.0 * np.sin(TIME / 40.0) + 5.0 * (TIME > 900.0)
    sigma, source = noise(TIME, signal + 0.25 * RANDOM.standard_normal(TIME.size))
    assert sigma == pytest.approx(0.25, rel=0.06)
    assert source == "neighbouring samples"


def test_noise_of_uneven_samples_is_the_same() -> None:
    """A straight line has none, however it is sampled; the weights are those of the line."""
    time = np.cumsum(RANDOM.uniform(0.1, 2.0, 4000))
    sigma, _ = noise(time, 0.03 * time + 0.4 * RANDOM.standard_normal(time.size))
    assert sigma == pytest.approx(0.4, rel=0.06)


def test_a_signal_in_steps_has_the_noise_of_its_steps() -> None:
    """q/√12: Sheppard's correction, textbooks."""
    sigma, source = noise(TIME, np.round(np.sin(TIME / 300.0), 1))
    assert source == "its resolution"
    assert sigma == pytest.approx(0.1 / sqrt(12.0), rel=1e-6)


def test_a_signal_without_noise_is_not_believed_beyond_its_accuracy() -> None:
    """0.3 % of its swing."""
    assert noise(TIME, np.sin(TIME / 300.0)) == (pytest.approx(6e-3, rel=0.01), "assumed")


def test_residuals_that_know_nothing_of_one_another_count_each() -> None:
    assert memory(RANDOM.standard_normal(20000)) == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("phi", [0.5, 0.8])
def test_memory_of_an_autoregression_is_its_closed_form(phi: float) -> None:
    """τ = (1 + φ)/(1 − φ), ρ_k = φ^k; textbooks."""
    made = np.zeros(200_000)
    for k, shock in enumerate(RANDOM.standard_normal(made.size - 1), 1):
        made[k] = phi * made[k - 1] + shock
    assert autocorrelation(made, 4) == pytest.approx(phi**np.arange(4), abs=0.02)
    assert memory(made) == pytest.approx((1.0 + phi) / (1.0 - phi), rel=0.12)


def test_an_offset_is_alike_all_along() -> None:
    """Σ(1 − k/n) over all lags: n samples are worth one."""
    assert memory(np.full(1000, 3.0)) == pytest.approx(1000.0, rel=0.01)


def test_autocorrelation_is_that_of_numpy() -> None:
    """`np.correlate`, the plain sums."""
    e = RANDOM.standard_normal(300)
    plain = np.correlate(e, e, "full")[299:]
    assert autocorrelation(e) == pytest.approx(plain / plain[0], abs=1e-12)


def test_the_interval_of_a_slope_is_that_of_linear_regression() -> None:
    """Against `scipy.stats.linregress`: standard error of slope and intercept, Student's t. The
    residuals of this seed know nothing of their neighbours (τ = 1)."""
    x = np.linspace(0.0, 1.0, 60)
    y = 2.0 + 3.0 * x + 0.1 * np.random.default_rng(3).standard_normal(60)
    line = linregress(x, y)
    left = line.intercept + line.slope * x - y
    assert memory(left) == 1.0
    found = sure(np.column_stack([np.ones(60), x]), left, [60])
    factor = student.ppf(0.975, 58)
    assert found.half == pytest.approx([factor * line.intercept_stderr, factor * line.stderr],
                                       rel=1e-9)


def test_the_interval_of_a_mean_grows_with_the_memory_of_its_noise() -> None:
    """Var(mean) = σ²(1 + φ)/((1 − φ)n) for a long autoregression; textbooks. Thirty records, so
    that their spread is known to 13 %."""
    phi, n, records = 0.8, 4000, 30
    halves, means = [], []
    for _ in range(records):
        e = np.zeros(n)
        for k, shock in enumerate(RANDOM.standard_normal(n - 1), 1):
            e[k] = phi * e[k - 1] + shock
        halves.append(sure(np.ones((n, 1)), e - e.mean(), [n]).half[0])
        means.append(e.mean())
    expected = 1.96 * sqrt(1.0 / (1.0 - phi**2) * (1.0 + phi) / (1.0 - phi) / n)
    assert np.mean(halves) == pytest.approx(expected, rel=0.1)
    assert np.std(means) * 1.96 == pytest.approx(expected, rel=0.4)


def test_sensitivities_at_right_angles_leave_numbers_independent() -> None:
    jacobian = np.array([[3.0, 0.0], [0.0, 4.0], [0.0, 0.0]])
    deviation, related = together(jacobian)
    assert deviation == pytest.approx([1.0 / 3.0, 1.0 / 4.0])
    assert related == pytest.approx(np.eye(2))
    assert collinearity(jacobian) == pytest.approx(1.0)


@pytest.mark.parametrize("r", [0.5, 0.99])
def test_two_sensitivities_at_an_angle_have_their_closed_forms(r: float) -> None:
    """ρ = −cos, deviation 1/(‖S‖√(1 − cos²)), γ = 1/√(1 − |cos|): a 2×2 inverse by hand."""
    jacobian = 10.0 * np.array([[1.0, r], [0.0, sqrt(1.0 - r * r)]])
    deviation, related = together(jacobian)
    assert related[0, 1] == pytest.approx(-r)
    assert deviation == pytest.approx([0.1 / sqrt(1.0 - r * r)] * 2)
    assert collinearity(jacobian) == pytest.approx(1.0 / sqrt(1.0 - r))


def test_of_two_numbers_that_trade_off_the_later_is_left() -> None:
    """Columns that differ by 1 in 10 000 parts of a length of 100: 100 standard deviations apart
    from nothing each, 1 together."""
    jacobian = np.array([[100.0, 100.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 50.0]])
    left = unknown(jacobian)
    assert [(one.place, one.partner) for one in left] == [(1, 0)]
    assert left[0].deviation == pytest.approx(1.0, rel=0.01)


def test_a_number_that_moves_nothing_is_left_without_a_partner() -> None:
    jacobian = np.array([[10.0, 0.0], [5.0, 0.0]])
    assert alone(jacobian)[1] == np.inf
    assert [(one.place, one.partner) for one in unknown(jacobian)] == [(1, None)]


def test_a_number_left_tells_how_it_is_related_to_its_partner() -> None:
    """Two columns at an angle of 60°: the estimates' correlation is −cos 60° (textbooks)."""
    size = 1.1 / KNOWN
    jacobian = size * np.array([[1.0, 0.5], [0.0, sqrt(0.75)]])
    left, = unknown(jacobian)
    assert left.partner is not None
    assert left.related == pytest.approx(-0.5)
    assert left.deviation == pytest.approx(1.0 / (size * sqrt(0.75)))
