"""What the pictures of a search say: bins, limits rounded, words, whose runs go together."""

from dataclasses import replace

import numpy as np
import pytest

from simfan.report.stress_histograms import BINS, bins, in_sight
from simfan.report.stress_page import _up
from simfan.report.stress_ramps import rates
from simfan.report.stress_region import most_important
from simfan.report.stress_words import Scale, axis, required, rounded_down, value_within
from simfan.stress_answer import STOPPED, Input, RampLimits, Requirement, Sensitivity, Trail


@pytest.mark.parametrize("low, high", [(-3.0, 8.0), (0.0, 5.0), (-4.0, 0.0), (0.0, 0.0),
                                       (-1e-7, 2e6)])
def test_no_bar_holds_runs_of_both_sides(low: float, high: float) -> None:
    """0, which just holds, stands in a bar to the right of the limit."""
    edges = bins(low, high)
    assert 0.0 in edges and edges[0] <= low and edges[-1] >= max(high, 1e-300)
    assert len(edges) <= BINS + 3 and np.all(np.diff(edges) > 0.0)
    counts, _ = np.histogram([0.0], edges)
    assert edges[np.flatnonzero(counts)[0]] == 0.0


def test_the_limit_is_in_sight_and_a_single_far_run_is_not() -> None:
    low, high = in_sight(np.array([*np.linspace(10.0, 20.0, 99), 5000.0]))
    assert low == 0.0 and 20.0 < high < 100.0
    assert in_sight(np.array([0.0, 0.0, 0.0, -100.0])) == (-100.0, 0.0)


@pytest.mark.parametrize("rate, said", [
    (12.99, "12"), (0.0389, "0.038"), (3.0, "3.0"), (187.0, "180"), (9.9999, "9.9"), (10.0, "10")])
def test_a_limit_does_not_grow_by_being_written(rate: float, said: str) -> None:
    assert rounded_down(rate) == said


@pytest.mark.parametrize("percent, said", [
    (4.9506, "4.96"), (39.3038, "39.4"), (100.0, "100"), (5.0, "5"), (9.9999, "10"),
    (1e-4, "0.0001"), (0.0, "0")])
def test_a_share_that_may_fail_does_not_shrink_by_being_written(percent: float, said: str) -> None:
    assert _up(percent) == said


@pytest.mark.parametrize("holds, nominal, said", [
    (1.23456, 1.0, "1.234"), (0.123401, 1.0, "0.1235"), (0.8, 1.0, "0.8"), (1.0, 1.0, "1")])
def test_a_value_that_holds_is_rounded_to_where_it_came_from(
        holds: float, nominal: float, said: str) -> None:
    gain = Input("control.controller.gain", None, "log", (0.1, 8.0), nominal)
    assert value_within(gain, holds, nominal, "si") == said


def test_rates_are_told_in_the_reader_s_unit() -> None:
    """10 m³/s in 40 s are 0.25 m³/s per s, or 530 cfm (1 ft 0.3048 m) per s."""
    limits = RampLimits(np.array([10.0, 20.0]), np.array([[np.nan, 40.0], [np.inf, np.nan]]),
                        np.array([[np.nan, 90.0], [np.inf, np.nan]]),
                        np.array([[-1, 0], [1, -1]]), 1.0, 100.0, 0.05, 12)
    assert rates(limits, "volume flow", "si")[0, 1] == pytest.approx(0.25)
    assert rates(limits, "volume flow", "us")[0, 1] == pytest.approx(0.25 * 60.0 / 0.3048**3)
    assert rates(limits, "volume flow", "si")[1, 0] == 0.0


@pytest.mark.parametrize("requirement, words", [
    (Requirement("overshoot", 10.0, "%", "most"), "Overshoot at most 10 %"),
    (Requirement("surge_cycles", 0.0, "", "most"), "No surge cycle"),
    (Requirement("surge_cycles", 2.0, "", "most"), "Surge cycles at most 2"),
    (Requirement("lowest_pressure", -2500.0, "Pa", "least"),
     "Pressure of the volume at least -2500 Pa")])
def test_a_requirement_in_words(requirement: Requirement, words: str) -> None:
    assert required(requirement, "si") == words


def test_an_input_s_axis_is_in_the_reader_s_unit() -> None:
    """Linear in the cube for an even spread: 25 % of 0 to 60 s is 15 s; a log spread is not."""
    even = axis(Input("over", "time", "uniform", (0.0, 60.0), None), "si")
    assert even.words == "Length of the ramp [s]" and even.at(np.array([0.25]))[0] == 15.0
    spread = axis(Input("strategies.damper.controller.gain", None, "log", (0.1, 10.0), None), "si")
    assert spread.at(np.array([0.5]))[0] == pytest.approx(1.0)
    assert spread.words == "strategies.damper.controller.gain"


def test_the_two_inputs_that_matter_most() -> None:
    """By indices where there are any, else by what goes with the distance."""
    points = np.random.default_rng(1).random((200, 4))
    room = (points[:, 2] ** 3 - 0.4 * points[:, 0])[:, None]
    assert most_important(None, Trail(points, room), 0) == (2, 0)
    nothing = np.full((4, 2), 0.5)
    found = Sensitivity(0, np.zeros(4), nothing, np.array([0.1, 0.7, 0.2, 0.05]), nothing, 0.95, 96)
    assert most_important(found, Trail(points, room), 0) == (1, 2)
    unknown = replace(found, total=np.full(4, np.nan))
    assert most_important(unknown, Trail(points, room), 0) == (2, 0)
    assert most_important(None, Trail(points[:, :1], room), 0) == (0,)
    assert most_important(None, Trail(points[:0], room[:0]), 0) == (0, 1), "stopped before any"


def test_every_picture_is_drawn_whatever_was_found() -> None:
    """One input; nothing broken, everything, runs that stopped; moves that all hold, or none."""
    from simfan.report import stress_histograms, stress_ramps, stress_region
    from simfan.stress.ramps import ramp_limits, table
    from simfan.stress.search import worst

    points = np.linspace(0.0, 1.0, 7)[:, None]
    for room in (np.ones(7), -np.ones(7), np.full(7, STOPPED), np.linspace(-1.0, 1.0, 7)):
        trail = Trail(points, room[:, None])
        stress_histograms.picture("a $ title", "below", ["one"], trail.distances)
        figure = stress_region.picture("title", "below", [Scale("x [s]", np.array([0.0, 60.0]))],
                                       trail, 0, (0,), np.array([0.5]), worst(trail, 0), False)
        assert figure.axes[0].get_xlabel() == "x [s]"

        def moves(m: np.ndarray, sign: float = room[0]) -> np.ndarray:
            return np.full((len(m), 1), sign)

        limits = ramp_limits(moves, np.array([1.0, 2.0]), 1.0, 10.0)
        rows = table(moves, limits)
        stress_ramps.picture("title", "below", ["one"], [(limits, rows)] * 2, "pressure", "us")
