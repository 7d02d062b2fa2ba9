"""The search for the worst, the smallest change, ramp limits, sensitivity: on functions of the cube
whose answers are known. What statisticians know is in tests/published."""

import numpy as np
import pytest

from simfan.stress.ramps import most_runs, ramp_limits, table
from simfan.stress.ramps_over import most_plants, over_plants, worst_of
from simfan.stress.ramps_over import most_runs as most_runs_over
from simfan.stress.search import SAMPLED, sample_size, search, told
from simfan.stress.sensitivity import ended, runs_of, sensitivity
from simfan.stress.smallest import smallest_changes
from simfan.stress.tally import Array, Budget, Evaluate, Spent, Tally
from simfan.stress_answer import STOPPED, Trail

NARROW = 0.05
"""Radius of a ball of failures in the cube of three inputs: one point in 1910."""


def ball(centre: Array, radius: float = NARROW) -> Evaluate:
    """Broken within the ball; twenty times its radius away there is twenty times its room."""
    return lambda x: (np.linalg.norm(x - centre, axis=1) / radius - 1.0)[:, None]


def runs_at_random(evaluate: Evaluate, inputs: int, rng: np.random.Generator) -> int:
    """How many random runs it takes to the first failure."""
    runs = 0
    while True:
        broken = np.flatnonzero(evaluate(rng.random((1024, inputs)))[:, 0] < 0.0)
        if broken.size:
            return runs + int(broken[0]) + 1
        runs += 1024


class TestTheWorst:
    def test_a_narrow_window_is_found_in_fewer_runs_than_at_random(self) -> None:
        """Of twelve windows each is found within 400 runs, on average in a quarter of the 1/p that
        random runs need, and of what they did need."""
        searched, at_random = [], []
        for seed in range(12):
            rng = np.random.default_rng(seed)
            broken_in = ball(rng.uniform(0.1, 0.9, 3))
            found = search(broken_in, 3, 1, Budget(400), seed).worst[0]
            assert found.first_broken is not None
            searched.append(found.first_broken)
            at_random.append(runs_at_random(broken_in, 3, rng))
        chance = 4.0 / 3.0 * np.pi * NARROW**3
        assert np.mean(searched) < 0.25 * min(1.0 / chance, float(np.mean(at_random)))

    def test_the_worst_is_the_bottom_of_the_window(self) -> None:
        centre = np.array([0.3, 0.71, 0.55])
        found = search(ball(centre), 3, 1, Budget(400), 3).worst[0]
        assert found.distance == pytest.approx(-1.0, abs=0.02)
        assert found.point == pytest.approx(centre, abs=0.02 * NARROW)

    def test_a_space_without_failures_answers_none_found(self) -> None:
        found = search(lambda x: 1.0 + np.sum(x, axis=1)[:, None], 2, 1, Budget(200), 1)
        assert found.worst[0].failures == 0 and found.worst[0].first_broken is None
        assert told(found.worst[0]) == f"none found in {found.worst[0].runs} runs"
        assert found.worst[0].runs <= 200
        assert found.worst[0].distance == pytest.approx(1.0, abs=1e-3)

    def test_a_worst_on_the_edge_is_found_there(self) -> None:
        found = search(lambda x: (1.0 - x[:, :1]) + x[:, 1:], 2, 1, Budget(300), 2).worst[0]
        assert found.point == pytest.approx([1.0, 0.0], abs=1e-3)

    def test_each_requirement_has_its_own_worst(self) -> None:
        centres = np.array([[0.2, 0.2], [0.8, 0.3], [0.5, 0.9]])

        def distances(x: Array) -> Array:
            return np.stack([ball(c)(x)[:, 0] for c in centres], axis=1)

        found = search(distances, 2, 3, Budget(600), 5)
        for worst, centre in zip(found.worst, centres, strict=True):
            assert worst.point == pytest.approx(centre, abs=0.1 * NARROW)
            assert worst.runs == len(found.trail.points) <= 600

    def test_a_needle_is_found_among_requirements_that_are_far_from_failing(self) -> None:
        """Five of six have ten deviations of room and a slope of their own. In 150 runs over five
        inputs random runs find the ball of failures, 1 in 2500, in one campaign of twenty; an even
        split of the runs found it in eight. Those runs are better spent on the nearest one."""
        hits = 0
        for seed in range(20):
            centre = np.random.default_rng(seed).uniform(0.1, 0.9, 5)

            def distances(x: Array, centre: Array = centre) -> Array:
                far = 3.0 + 0.3 * np.cos(3.0 * x + np.arange(5))
                return np.column_stack([far[:, :2], ball(centre, 0.15)(x), far[:, 2:]])

            found = search(distances, 5, 6, Budget(150), seed)
            hits += found.worst[2].distance < 0.0
            assert len(found.trail.points) <= 150
        assert hits >= 18

    def test_what_was_run_before_costs_nothing_and_is_where_it_sets_out(self) -> None:
        """So the worst found is never better than the worst that was known."""
        broken_in, known = ball(np.full(3, 0.4)), np.random.default_rng(1).random((60, 3))
        before = Trail(known, broken_in(known))
        found = search(broken_in, 3, 1, Budget(60), 1, known=before)
        assert np.array_equal(found.trail.points[:60], known)
        assert 60 < len(found.trail.points) <= 120
        assert found.worst[0].distance < before.distances.min()
        assert sample_size(60, 60) < sample_size(60)

    def test_no_slope_means_more_of_the_sample(self) -> None:
        """A requirement met equally well everywhere: its runs go on evenly, all different."""
        found = search(lambda x: np.ones((len(x), 1)), 2, 1, Budget(256), 1)
        assert len(np.unique(found.trail.points, axis=0)) == 256
        cells = np.unique(np.floor(found.trail.points * 16.0), axis=0)
        assert len(cells) == 256

    def test_the_same_seed_gives_the_same_runs(self) -> None:
        one, same, other = (search(ball(np.full(3, 0.4)), 3, 1, Budget(150), seed).trail.points
                            for seed in (4, 4, 5))
        assert np.array_equal(one, same) and not np.array_equal(one[:5], other[:5])

    def test_the_budget_in_seconds_ends_it_with_what_is_done(self) -> None:
        clock = iter(range(1000))
        found = search(ball(np.full(2, 0.4)), 2, 1, Budget(10_000, 7.0), 1, lambda: next(clock))
        assert found.stopped and 0 < len(found.trail.points) < 1000

    def test_a_budget_spent_before_the_first_run_still_makes_one_batch(self) -> None:
        found = search(ball(np.full(2, 0.4)), 2, 1, Budget(100, 0.0), 1)
        assert found.stopped and len(found.trail.points) == found.sampled == sample_size(100)

    def test_no_run_beyond_the_budget(self) -> None:
        for runs in (1, 2, 7, 33, 100):
            seen: list[int] = []

            def counted(x: Array, seen: list[int] = seen) -> Array:
                seen.append(len(x))
                return ball(np.full(2, 0.4))(x)

            search(counted, 2, 1, Budget(runs), 1)
            assert 1 <= sum(seen) <= runs
            assert sample_size(runs) <= max(1, SAMPLED * runs)

    def test_nothing_to_vary_is_refused(self) -> None:
        with pytest.raises(ValueError, match="0 inputs"):
            search(ball(np.zeros(0)), 0, 1, Budget(10), 1)

    def test_a_point_is_run_once(self) -> None:
        seen: list[int] = []

        def counted(x: Array) -> Array:
            seen.append(len(x))
            return x

        tally = Tally(counted, Budget(3))
        points = np.array([[0.1], [0.2], [0.1]])
        assert np.array_equal(tally(points), points) and np.array_equal(tally(points), points)
        assert seen == [2] and tally.left == 1
        with pytest.raises(Spent):
            tally(np.array([[0.3], [0.4]]))


class TestTheSmallestChange:
    def test_halving_finds_a_known_threshold(self) -> None:
        """Broken beyond x₁ = 0.7131 and below x₂ = 0.2: each to its tolerance, from both sides."""
        def distances(x: Array) -> Array:
            return np.stack([0.7131 - x[:, 0], x[:, 1] - 0.2], axis=1)

        nominal = np.array([0.5, 0.5])
        found = smallest_changes(distances, nominal, tolerance=1e-4)
        assert [(c.requirement, c.input) for c in found] == [(0, 0), (1, 1)]
        right, down = found
        assert right.holds[0] <= 0.7131 < right.breaks[0] <= right.holds[0] + 1e-4
        assert down.breaks[1] < 0.2 <= down.holds[1] <= down.breaks[1] + 1e-4
        assert right.size == pytest.approx(0.2131, abs=1e-4) and right.distance < 0.0

    def test_the_first_of_two_windows_counts(self) -> None:
        """Broken from 0.3 to 0.5 and again from 0.8: the nearer one."""
        def distances(x: Array) -> Array:
            return np.minimum(np.abs(x - 0.4) - 0.1, 0.8 - x)

        up = smallest_changes(distances, np.zeros(1), tolerance=1e-3)[0]
        assert up.breaks[0] == pytest.approx(0.3, abs=1e-3)

    def test_several_inputs_at_once_towards_the_nearest_broken_run(self) -> None:
        """No input alone breaks x₁ + x₂ > 1.5 from (0.4, 0.4); both together do at 0.75 each."""
        def distances(x: Array) -> Array:
            return 1.5 - x.sum(axis=1)[:, None]

        points = np.array([[0.95, 0.95], [0.99, 0.6], [0.1, 0.1]])
        found = smallest_changes(distances, np.full(2, 0.4), Trail(points, distances(points)), 1e-3)
        assert [c.input for c in found] == [None, None]
        assert found[0].breaks == pytest.approx([0.75, 0.75], abs=1e-3)
        assert found[0].size <= found[1].size

    @pytest.mark.parametrize("most", [2, 5, 20, 60, 400])
    def test_within_its_budget_it_tells_how_near_it_came(self, most: int) -> None:
        """Four inputs; the first breaks at 0.6, from 0.5, along its line to 1."""
        made = []

        def distances(x: Array) -> Array:
            made.append(len(x))
            return 0.6 - x[:, :1]

        found = smallest_changes(distances, np.full(4, 0.5), most=most)
        assert sum(made) <= most + 2  # the nominal point, and what was found once more
        for change in found:
            assert change.holds[0] <= 0.6 < change.breaks[0]
            assert change.within == pytest.approx(change.breaks[0] - change.holds[0])
        assert found and (most < 400 or found[0].within <= 0.005)

    def test_broken_already_or_never(self) -> None:
        never = smallest_changes(lambda x: np.ones((len(x), 1)), np.full(2, 0.5))
        already = smallest_changes(lambda x: -np.ones((len(x), 1)), np.full(2, 0.5))
        assert never == already == []

    def test_a_tolerance_of_nothing_is_refused(self) -> None:
        with pytest.raises(ValueError, match="tolerance: got 0"):
            smallest_changes(lambda x: x, np.full(2, 0.5), tolerance=0.0)


SETPOINTS = np.array([10.0, 20.0, 30.0, 40.0, 50.0])


def lagging(moves: Array) -> Array:
    """A value that follows a ramp with a lag T stays behind by T·rate·(1 − e^(−duration/T)), T 5 s
    on the way up and 10 s on the way down; at most 2 are allowed."""
    rate = (moves[:, 1] - moves[:, 0]) / moves[:, 2]
    lag = np.where(rate > 0.0, 5.0, 10.0)
    behind = lag * np.abs(rate) * (1.0 - np.exp(-moves[:, 2] / lag))
    return (2.0 - behind)[:, None]


def closed_form(change: float) -> float:
    """The duration at which a move by so much falls behind by 2 [s]."""
    from scipy.optimize import brentq

    lag = 5.0 if change > 0.0 else 10.0
    return float(brentq(lambda t: lag * abs(change) / t * (1.0 - np.exp(-t / lag)) - 2.0, 0.1, 1e4))


class TestRamps:
    def test_limits_of_a_lag_against_its_closed_form(self) -> None:
        found = ramp_limits(lagging, SETPOINTS, 1.0, 1000.0, tolerance=0.01)
        for i, a in enumerate(SETPOINTS):
            for j, b in enumerate(SETPOINTS):
                if i == j:
                    assert np.isnan(found.fastest[i, j])
                    continue
                exact = closed_form(b - a)
                assert exact <= found.fastest[i, j] <= 1.01 * exact
        assert (found.breaks[~np.eye(5, dtype=bool)] == 0).all() and not found.free.any()

    def test_the_short_table_serves_every_move(self) -> None:
        """Twice the lag, half the rate. From the longest move the ramp's end counts no more: rate
        = allowed/T."""
        found = ramp_limits(lagging, SETPOINTS, 1.0, 1000.0, tolerance=0.01)
        rows = table(lagging, found)
        assert [row.setpoint for row in rows] == list(SETPOINTS)
        assert rows[-1].up is None and rows[0].down is None
        assert rows[0].up == pytest.approx(2.0 / 5.0, rel=0.012)
        assert rows[-1].down == pytest.approx(2.0 / 10.0, rel=0.012)
        assert all(row.up_kept and row.down_kept for row in rows)

    def test_a_table_that_a_slower_ramp_breaks_is_found_out(self) -> None:
        """Small moves that take longer than 24.9 s break: the map's are faster, but at the rate of
        the table they take 25 s."""
        found = ramp_limits(lagging, SETPOINTS, 1.0, 1000.0, tolerance=0.001)

        def resonant(moves: Array) -> Array:
            small = np.abs(moves[:, 1] - moves[:, 0]) < 15.0
            bad = small & (moves[:, 2] > 24.9)
            return np.where(bad[:, None], -1.0, lagging(moves))

        rows = table(resonant, found)
        assert [row.up_kept for row in rows] == [False, False, False, True, True]

    def test_moves_that_always_or_never_hold(self) -> None:
        """Up anything goes, down nothing."""
        def one_way(moves: Array) -> Array:
            return np.stack([np.ones(len(moves)), moves[:, 1] - moves[:, 0]], axis=1)

        found = ramp_limits(one_way, SETPOINTS, 2.0, 100.0)
        up = np.triu(np.ones((5, 5), dtype=bool), 1)
        assert (found.fastest[up] == 2.0).all() and np.isinf(found.fastest[up.T]).all()
        assert found.free[up].all() and (found.breaks[up.T] == 1).all()
        rows = table(one_way, found)
        assert rows[0].up_free and rows[1].down == 0.0 and not rows[1].down_free

    def test_the_slowest_failure_bounds_the_ramp(self) -> None:
        """A window of failures from 30 to 60 s: faster ramps that hold are not believed."""
        def windowed(moves: Array) -> Array:
            return (np.abs(np.log(moves[:, 2] / 42.4)) - np.log(np.sqrt(2.0)))[:, None]

        found = ramp_limits(windowed, SETPOINTS, 1.0, 1000.0, tolerance=0.01)
        assert found.fastest[0, 1] == pytest.approx(42.4 * np.sqrt(2.0), rel=0.01)

    def test_what_no_ramp_cures_is_named(self) -> None:
        """The first is broken by slow ramps alone, the second by all."""
        def moves(m: Array) -> Array:
            return np.stack([20.0 - m[:, 2], np.full(len(m), -0.1)], axis=1)

        found = ramp_limits(moves, SETPOINTS, 1.0, 1000.0)
        off = ~np.eye(5, dtype=bool)
        assert found.none[off].all() and (found.breaks[off] == 1).all()

    def test_a_ramp_may_be_too_slow(self) -> None:
        """Settled within 75 s of the start, 15 s of which are needed after the ramp."""
        def moves(m: Array) -> Array:
            return np.stack([lagging(m)[:, 0], 75.0 - (m[:, 2] + 15.0)], axis=1)

        found = ramp_limits(moves, np.array([10.0, 20.0]), 1.0, 1000.0, tolerance=0.01)
        assert found.bounded[0, 1] and 60.0 / 1.01 <= found.slowest[0, 1] <= 60.0
        exact = closed_form(10.0)
        assert exact <= found.fastest[0, 1] <= 1.01 * exact and found.breaks[0, 1] == 0
        assert found.none[1, 0] and np.isinf(found.fastest[1, 0])

    def test_over_several_plants_the_worst_decides(self) -> None:
        """Behind by lag·rate, 2 allowed, in the lag of each plant: duration = lag·change/2."""
        def of(points: Array) -> Array:
            rate = np.abs(points[:, 1] - points[:, 0]) / points[:, 2]
            return (2.0 - points[:, 3] * rate)[:, None]

        plants = np.array([[3.0], [8.0], [5.0]])
        given = ramp_limits(worst_of(of, plants[:1]), SETPOINTS, 1.0, 1e3)
        found = over_plants(of, given, plants)
        off = ~np.eye(5, dtype=bool)
        change = np.abs(SETPOINTS[None, :] - SETPOINTS[:, None])[off]
        assert given.fastest[off] == pytest.approx(1.5 * change, rel=0.05)
        assert (found.fastest[off] >= 4.0 * change).all()
        assert found.fastest[off] == pytest.approx(4.0 * change, rel=0.05)
        assert found.plants == 3 and (found.breaks[off] == 0).all()

    def test_what_no_ramp_cures_is_left_out_and_told(self) -> None:
        """A plant that breaks the second requirement however slow, in whichever place it stands,
        is no matter of ramps: the other decides, and it is counted. All such leave no limit."""
        def of(points: Array) -> Array:
            return np.column_stack([lagging(points[:, :3])[:, 0], 1.0 - points[:, 3]])

        given = ramp_limits(worst_of(of, np.zeros((1, 1))), SETPOINTS, 1.0, 1000.0)
        off = ~np.eye(5, dtype=bool)
        for plants in ([[0.5], [2.0]], [[2.0], [0.5]]):
            found = over_plants(of, given, np.array(plants))
            assert found.left_out is not None
            assert np.array_equal(found.fastest, given.fastest, equal_nan=True)
            assert (found.left_out[off] == 1).all() and found.uncured == (1,)
            assert worst_of(of, np.array(plants), given)(np.array([[10.0, 20.0, 999.0]])).min() > 0
        none = over_plants(of, given, np.array([[2.0], [3.0]]))
        assert none.none[off].all() and (none.breaks[off] == 1).all()

    def test_where_too_slow_breaks_no_plant_is_left_out_for_it(self) -> None:
        """All break beyond 200 s, and the others below 10 and 20 s: 20 s is the limit of both."""
        def of(points: Array) -> Array:
            seconds, least = points[:, 2], points[:, 3]
            return np.minimum(seconds - least, 200.0 - seconds)[:, None]

        plants = np.array([[10.0], [20.0]])
        given = ramp_limits(worst_of(of, plants[:1]), SETPOINTS[:2], 1.0, 1000.0)
        found = over_plants(of, given, plants)
        assert given.bounded[0, 1] and found.left_out is not None and not found.left_out.any()
        assert 20.0 <= found.fastest[0, 1] <= 21.0
        assert worst_of(of, plants, given)(np.array([[10.0, 20.0, 21.0]])).min() > 0.0

    def test_plants_that_disagree_leave_a_limit_that_all_of_them_keep_or_none(self) -> None:
        """One breaks between 20 and 40 s, the other below 25 s: what is told was run on both."""
        def of(points: Array) -> Array:
            seconds, odd = points[:, 2], points[:, 3] > 0.5
            inside = np.abs(seconds - 30.0) - 10.0
            return np.where(odd, inside, seconds - 25.0)[:, None]

        plants = np.array([[0.0], [1.0]])
        given = ramp_limits(worst_of(of, plants[:1]), SETPOINTS[:2], 1.0, 1000.0)
        found = over_plants(of, given, plants)
        kept = worst_of(of, plants)(np.array([[10.0, 20.0, found.fastest[0, 1]]]))
        assert kept.min() >= 0.0 and 40.0 <= found.fastest[0, 1] <= 42.0

    def test_no_more_runs_than_were_told(self) -> None:
        made = []

        def counted(points: Array) -> Array:
            made.append(len(points))
            rate = np.abs(points[:, 1] - points[:, 0]) / points[:, 2]
            return (2.0 - (5.0 + points[:, 3:].sum(axis=1)) * rate)[:, None]

        given = ramp_limits(counted, SETPOINTS[:3], 0.25, 60.0)
        table(counted, given)
        assert sum(made) <= most_runs(3, 0.25, 60.0)
        made.clear()
        plants = np.linspace(0.0, 4.0, 6)[:, None]
        found = over_plants(counted, given, plants)
        table(worst_of(counted, plants), found)
        assert sum(made) <= most_runs_over(3, 6, 0.25, 60.0)
        assert most_plants(3, most_runs_over(3, 6, 0.25, 60.0), 0.25, 60.0) == 6

    @pytest.mark.parametrize("setpoints, shortest, tolerance", [
        ([1.0, 2.0], 0.0, 0.1), ([1.0, 2.0], 20.0, 0.1), ([1.0], 1.0, 0.1),
        ([1.0, 1.0], 1.0, 0.1), ([1.0, 2.0], 1.0, 0.0)])
    def test_what_cannot_be_tried_is_refused(self, setpoints: list[float], shortest: float,
                                             tolerance: float) -> None:
        with pytest.raises(ValueError, match="allowed"):
            ramp_limits(lagging, np.array(setpoints), shortest, 10.0, tolerance)


class TestSensitivity:
    def test_it_is_the_same_each_time(self) -> None:
        one, same = (sensitivity(lambda x: x**2, 3, 200, 7) for _ in range(2))
        for a, b in zip(one, same, strict=True):
            assert np.array_equal(a.first_band, b.first_band)
            assert a.runs == runs_of(3, 200) == 160

    def test_each_requirement_has_its_own_indices(self) -> None:
        """Requirement k moves with input k alone, the last with none: 1 there, 0 elsewhere."""
        found = sensitivity(lambda x: np.column_stack([x, np.ones(len(x))]), 3, 2560, 2)
        for k, one in enumerate(found[:3]):
            assert one.requirement == k
            assert one.first == pytest.approx(np.eye(3)[k], abs=0.05)
            assert one.total == pytest.approx(np.eye(3)[k], abs=0.05)
        assert np.isnan(found[3].first).all()

    def test_a_requirement_that_does_not_move_has_no_indices(self) -> None:
        found = sensitivity(lambda x: np.ones((len(x), 1)), 2, 128, 1)[0]
        assert np.isnan(found.first).all() and np.isnan(found.total_band).all()

    def test_a_single_input_makes_all_of_it(self) -> None:
        found = sensitivity(lambda x: x, 1, 100, 1)[0]
        assert found.first == found.total == 1.0

    def test_stopped_runs_count_like_the_worst_of_the_others(self) -> None:
        got = ended(np.array([[1.0, STOPPED], [-2.0, STOPPED], [STOPPED, STOPPED]]))
        assert np.array_equal(got, [[1.0, 0.0], [-2.0, 0.0], [-2.0, 0.0]])

    def test_too_few_runs_are_refused(self) -> None:
        with pytest.raises(ValueError, match="allowed: 160 and more"):
            sensitivity(lambda x: x, 3, 159, 1)
