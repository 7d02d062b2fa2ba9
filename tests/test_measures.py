"""Folds: the arithmetic of judgement, on signals whose answer is known beforehand.

Expected values are worked out by hand from the definitions, beside each check.
"""

import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simfan.measures import change, energy, episodes, margin, surge, tracking, travel
from simfan.measures.crossing import crossing_time, share_above
from tests import folds


def over(fold, params, time, *arrays):
    """Run one fold over all samples."""
    params = () if params is None else (params,)
    arrays = [np.ascontiguousarray(a, dtype=float) for a in arrays]
    return fold.result(fold.over(fold.start(*params), time[0], time, *arrays))


def clock(duration, step=0.05):
    return step * np.arange(round(duration / step) + 1)


# One registry, one test over all folds.


@pytest.mark.parametrize("name", folds.CASES)
@given(seed=st.integers(0, 10_000), n=st.integers(3, 300), share=st.floats(0.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_cutting_the_samples_in_two_changes_no_bit(name, seed, n, share):
    time, flow = folds.rough(seed, n)
    case, cut = folds.CASES[name], round(share * n)
    whole = folds.bits(folds.run(case, time, flow))
    assert folds.bits(folds.run(case, time, flow, cuts=(cut,))) == whole


def test_compiled_and_interpreted_folds_give_the_same_bits():
    plain = subprocess.run(
        [sys.executable, "-m", "tests.folds"],
        cwd=Path(__file__).parents[1],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    compiled = [f"{name} {folds.bits(folds.run(case, *folds.rough(7, 600))).hex()}"
                for name, case in folds.CASES.items()]  # fmt: skip
    assert plain.stdout.splitlines() == compiled


def test_the_rough_signal_exercises_every_list():
    """Guards the two tests above: an empty list would be equal whatever the code does."""
    rough = folds.rough(7, 600)
    assert folds.run(folds.CASES["surge"], *rough).cycles > 3
    assert folds.run(folds.CASES["surge"], *rough).lost > 0
    assert folds.run(folds.CASES["episodes"], *rough).lost > 0
    assert folds.run(folds.CASES["travel"], *rough).reversals > 3
    assert folds.run(folds.CASES["margin"], *rough).left > 1.0


# Straight lines between samples.


@pytest.mark.parametrize(
    ("before", "now", "expected"),
    [(1.0, 3.0, 1.0), (-1.0, -3.0, 0.0), (-1.0, 3.0, 0.75), (3.0, -1.0, 0.75), (0.0, 0.0, 0.0),
     (math.nan, 1.0, 0.0), (1.0, math.nan, 0.0)],
)  # fmt: skip
def test_share_above_is_that_of_the_straight_line(before, now, expected):
    assert share_above(before, now) == expected


def test_crossing_time_is_that_of_the_straight_line():
    assert crossing_time(10.0, 2.0, 0.0, 4.0, 1.0) == 8.5
    assert crossing_time(10.0, 2.0, 4.0, 0.0, 1.0) == 9.5
    assert crossing_time(10.0, 2.0, 2.0, 3.0, 1.0) == 10.0
    assert crossing_time(10.0, 2.0, math.nan, 3.0, 1.0) == 10.0


# Tracking.


def test_a_constant_error_sums_to_error_times_time():
    time = clock(10.0) + 100.0
    got = over(tracking, tracking.Params(100.0, 0.05), time, np.full(201, 50.0), np.full(201, 47.0))
    # |e| = 3 for 10 s: IAE 30, ISE 90, ITAE 3·10²/2 = 150; the band is 2.5
    assert got == pytest.approx((30.0, 90.0, 150.0, 3.0, 10.0))


def test_time_outside_the_band_is_interpolated():
    time = np.array([0.0, 1.0, 2.0])
    actual = np.array([50.0, 60.0, 50.0])
    # band 2.5; |e| is beyond it from .25 s to 1.75 s
    got = over(tracking, tracking.Params(0.0, 0.05), time, np.full(3, 50.0), actual)
    assert got.outside == pytest.approx(1.5)


# Change.


def ramp(first, last, length=10.0, rest=10.0):
    """A straight move, then rest."""
    time = clock(length + rest)
    return time, first + (last - first) * np.minimum(time / length, 1.0)


@pytest.mark.parametrize(("first", "last"), [(0.0, 1.0), (30.0, 60.0), (60.0, 30.0), (-5.0, 5.0)])
def test_a_straight_move_rises_in_eight_tenths_and_settles_at_the_band(first, last):
    time, value = ramp(first, last)
    got = over(change, change.Params(0.0, first, last, 0.05, 1.0), time, value)
    # y = t/10: 10 to 90 % takes 8 s, 95 % is reached at 9.5 s
    assert got.rise_time == pytest.approx(8.0)
    assert got.settling_time == pytest.approx(9.5)
    assert got.overshoot == pytest.approx(0.0, abs=1e-12)
    assert got.undershoot == 0.0
    assert got.inside_for == pytest.approx(10.5)


def test_a_ramp_settles_from_its_end():
    """A value that lags a ramp of 10 s by 2 s, as any with an integrator does: 95 % at 11.5 s is
    1.5 s after the setpoint arrived; one that leads is settled as it arrives, in 0 s."""
    time, value = ramp(30.0, 60.0)
    late = np.interp(time - 2.0, time, value)
    got = over(change, change.Params(10.0, 30.0, 60.0, 0.05, 1.0), time, late)
    assert got.settling_time == pytest.approx(1.5)
    got = over(change, change.Params(10.0, 30.0, 60.0, 0.05, 1.0), time, value)
    assert got.settling_time == 0.0 and got.inside_for == pytest.approx(10.5)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_wrong_way_first_is_undershoot(sign):
    time = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    value = 40.0 + sign * np.array([0.0, -2.0, 12.0, 10.0, 10.0])
    got = over(change, change.Params(0.0, 40.0, 40.0 + 10.0 * sign, 0.05, 1.0), time, value)
    assert got.undershoot == pytest.approx(0.2)
    assert got.overshoot == pytest.approx(0.2)
    # back inside 1 + .05 on the way from 1.2 to 1.0: three quarters of the third second
    assert got.settling_time == pytest.approx(2.75)


def test_a_value_outside_the_band_at_the_end_has_not_settled():
    time, value = ramp(30.0, 60.0)
    early = time < 9.0
    got = over(change, change.Params(0.0, 30.0, 60.0, 0.05, 1.0), time[early], value[early])
    assert math.isnan(got.settling_time)
    assert got.inside_for == 0.0


def test_a_value_passing_through_the_band_at_the_end_has_not_settled():
    time, value = ramp(30.0, 60.0)
    early = time < 9.8
    got = over(change, change.Params(0.0, 30.0, 60.0, 0.05, 1.0), time[early], value[early])
    assert math.isnan(got.settling_time)
    assert got.inside_for == pytest.approx(9.75 - 9.5)


def test_a_rise_that_never_reaches_ninety_percent_has_no_rise_time():
    time, value = ramp(30.0, 60.0)
    got = over(change, change.Params(0.0, 30.0, 100.0, 0.05, 1.0), time, value)
    assert math.isnan(got.rise_time)


# Travel.


@given(st.lists(st.floats(0.0, 1.0), min_size=2, max_size=60))
def test_travel_of_a_monotone_move_is_its_span(points):
    position = np.sort(points)
    time = clock(0.05 * (len(points) - 1))
    got = over(travel, travel.Params(0.005, 0.0, 1.0, 0.001), time, position)
    assert got.travel == pytest.approx(position[-1] - position[0], abs=1e-12)
    assert got.reversals == 0


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_turns_within_the_dead_band_are_travel_but_no_reversals(sign):
    position = sign * np.array([0.0, 0.5, 0.48, 0.5, 0.48, 0.9, 0.4, 0.6])
    got = over(travel, travel.Params(0.05, -2.0, 2.0, 0.001), clock(0.35), position)
    assert got.travel == pytest.approx(0.5 + 0.02 * 3 + 0.42 + 0.5 + 0.2)
    assert got.reversals == 2


def test_time_at_limits_counts_both_ends():
    position = np.array([0.0, 0.0, 0.5, 1.0, 1.0, 1.0])
    got = over(travel, travel.Params(0.05, 0.0, 1.0, 0.001), np.arange(6.0), position)
    # one second shut, two open, and 2 × .001/.5 of the seconds on the way
    assert got.at_limits == pytest.approx(3.0 + 2 * 0.002)


# Energy and margin.


def test_energy_of_a_straight_rise_is_the_triangle():
    time = clock(10.0)
    got = over(energy, None, time, 100.0 * time, 120.0 * time, np.full_like(time, 2.0))
    assert got == pytest.approx((5000.0, 6000.0, 20.0))


def test_margin_is_lowest_where_the_flow_is_nearest_the_line():
    flow, line = np.array([40.0, 32.0, 36.0]), np.array([29.0, 24.0, math.nan])
    got = over(margin, None, np.arange(3.0), flow, line)
    # (32 − 24)/32 = .25 against (40 − 29)/40 = .275; where there is no line nothing counts
    assert got.lowest == pytest.approx(0.25)
    assert got.lowest_at == 1.0
    assert got.ratio == pytest.approx(32.0 / 24.0)
    assert (got.left, got.with_line, got.without_flow) == (0.0, 2, 0)


def test_time_left_of_the_line_is_interpolated_and_backward_flow_counts():
    flow = np.array([31.0, 27.0, -3.0, 29.0, 33.0])
    got = over(margin, None, np.arange(5.0), flow, np.full(5, 29.0))
    # half of the first second, then until the flow is back at 29 at 3 s
    assert got.left == pytest.approx(2.5)
    assert got.lowest == pytest.approx((27.0 - 29.0) / 27.0)
    assert got.ratio == pytest.approx(-3.0 / 29.0)
    assert got.without_flow == 1


def test_without_a_line_there_is_no_margin():
    got = over(margin, None, np.arange(3.0), np.full(3, 9.0), np.full(3, math.nan))
    assert math.isnan(got.lowest)
    assert math.isnan(got.ratio)
    assert got.with_line == 0


# Episodes.


def test_episodes_nearer_than_the_gap_are_one():
    time = np.arange(12.0)
    depth = np.array([-1, 1, -1, 2, -1, -1, -1, -1, -1, 4, 4, 4], dtype=float)
    got = over(episodes, episodes.Params(3.0, 5), time, depth)
    table = episodes.Listed(*got.table[:, : got.episodes])
    # crossings halfway and, from −1 to 2 and −1 to 4, at a third and a fifth
    assert table.start == pytest.approx([0.5, 8.2])
    assert table.end == pytest.approx([3.0 + 2.0 / 3.0, 11.0])
    assert list(table.deepest) == [2.0, 4.0]
    assert list(table.crossings) == [2.0, 1.0]
    assert (got.lost, got.is_open) == (0, 1)


def test_episodes_that_do_not_fit_are_counted():
    depth = np.tile([1.0, -1.0, -1.0, -1.0], 6)
    got = over(episodes, episodes.Params(0.5, 4), np.arange(24.0), depth)
    assert (got.episodes, got.lost) == (4, 2)


# Surge.

SWING, LINE = 2.9, 29.0
PARAMS = surge.Params(SWING, 10.0, 10.0, 203, 10)


def surging(time, flow, line=LINE, params=PARAMS):
    return over(surge, params, time, flow, np.full_like(flow, line), np.zeros_like(flow))


@pytest.mark.parametrize("mean", [29.0, 26.0, 10.0])
@pytest.mark.parametrize("frequency", [0.2, 1.0, 3.0])
def test_every_period_of_a_swing_about_the_line_is_one_cycle(frequency, mean):
    time = clock(60.0, 0.01)
    params = PARAMS._replace(memory=1003)
    flow = mean + 12.0 * np.sin(2.0 * np.pi * frequency * time)
    pressure = 900.0 * np.cos(2.0 * np.pi * frequency * time)
    got = over(surge, params, time, flow, np.full_like(flow, LINE), pressure)
    table = surge.Listed(*got.table[:, : got.episodes])
    assert got.cycles == round(60.0 * frequency)
    assert list(table.cycles) == [got.cycles]
    between = table.last_bottom[0] - table.first_bottom[0]
    assert (got.cycles - 1) / between == pytest.approx(frequency, rel=2e-3)
    # a sine of amplitude 12 swings by 24 from top to bottom, and one of 900 by 1800
    assert table.flow_swing[0] == pytest.approx(24.0, rel=1e-2)
    assert table.pressure_swing[0] == pytest.approx(1800.0, rel=1e-2)
    assert table.lowest_flow[0] == pytest.approx(mean - 12.0, abs=0.1)


def test_a_swing_right_of_the_line_is_no_surge():
    time = clock(60.0)
    assert surging(time, 36.0 + 5.0 * np.sin(2.0 * np.pi * time)).cycles == 0


def test_a_swing_below_the_threshold_is_no_surge():
    time = clock(60.25)  # the last valley rises in full
    assert surging(time, 27.0 + 0.49 * SWING * np.sin(2.0 * np.pi * time)).cycles == 0
    assert surging(time, 27.0 + 0.51 * SWING * np.sin(2.0 * np.pi * time)).cycles == 60


def test_without_a_line_there_is_no_cycle():
    time = clock(60.0)
    assert surging(time, 27.0 + 9.0 * np.sin(2.0 * np.pi * time), line=math.nan).cycles == 0


@pytest.mark.parametrize(("longest", "cycles"), [(5.9, 0), (6.1, 1)])
def test_a_valley_wider_than_the_longest_cycle_is_no_surge(longest, cycles):
    time = clock(60.0)
    flow = np.interp(time, [20.0, 20.1, 26.0, 26.1], [36.0, 18.0, 18.0, 36.0])
    # at 18 + 2.9 the valley is 5.9 s + 2 · .1 s · 2.9/18 wide
    params = PARAMS._replace(longest=longest, memory=1000)
    assert surging(time, flow, params=params).cycles == cycles


@pytest.mark.parametrize("move", [5.0, 10.0, 30.0])
def test_a_controlled_move_to_the_left_and_back_a_minute_later_is_no_surge(move):
    time = clock(200.0)
    flow = np.interp(time, [20.0, 20.0 + move, 80.0, 80.0 + move], [36.0, 18.0, 18.0, 36.0])
    assert surging(time, flow).cycles == 0


def test_a_slow_approach_does_not_hide_the_first_collapse():
    time = clock(120.0)
    flow = np.interp(time, [0.0, 60.0], [45.0, 28.0])
    flow[time >= 60.0] -= 15.0 * np.abs(np.sin(np.pi * (time[time >= 60.0] - 60.0)))
    got = surging(time, flow, params=PARAMS._replace(memory=2401))
    table = surge.Listed(*got.table[:, : got.episodes])
    assert got.cycles == 60
    # the swing is that of the collapse and the seconds before it, not of the whole approach
    assert table.flow_swing[0] == pytest.approx(15.0 + 17.0 / 60.0 * 9.5, abs=0.5)
    assert table.start[0] == pytest.approx(60.0, abs=0.5)


def test_episodes_of_surge_apart_by_more_than_the_gap_are_two():
    time = clock(100.0)
    on = ((time >= 10.0) & (time < 20.0)) | ((time >= 50.0) & (time < 55.0))
    flow = 28.0 + np.where(on, 10.0 * np.sin(2.0 * np.pi * time), 0.0)
    got = surging(time, flow)
    assert list(got.table[surge.CYCLES, : got.episodes]) == [10.0, 5.0]


def test_reverse_flow_is_not_needed_and_does_not_hinder():
    time = clock(20.0)
    assert surging(time, 28.0 + 4.0 * np.sin(2.0 * np.pi * time)).cycles == 20
    assert surging(time, 18.0 + 40.0 * np.sin(2.0 * np.pi * time)).cycles == 20
