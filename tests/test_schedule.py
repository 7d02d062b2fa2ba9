"""Many plants at once, the search for the robust tuning, gain schedules and characterisers."""

from functools import cache
from math import pi
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simfan import api
from simfan.assemble.sequence import behind
from simfan.errors import RunError, ScenarioError
from simfan.history import History
from simfan.loop_answer import Characterised
from simfan.loops.allowed import CAREFUL, MOST_GAIN, MOST_MT, most_gain
from simfan.loops.margins import Margins, around, margins
from simfan.loops.modes import Stack
from simfan.loops.over_range import MOST_STIRRED, Loop
from simfan.loops.schedule import characterised, characteriser, gain_schedule
from simfan.plant.case import Case
from simfan.plant.characteriser import Characteriser
from simfan.plant.control import Controller
from simfan.plant.structure import MidRanging
from simfan.simulate import simulate
from tests.plants import plain, typed

SCENARIOS = Path(__file__).parents[1] / "scenarios"
KILN = typed(api.load(SCENARIOS / "kiln-air.toml"))
LOW, HIGH = 32.0, 45.0
DAMPERS = ("damper-at-kiln", "damper-at-fan", "inlet-box-damper", "inlet-vanes")


@cache
def loop(name: str, n: int = 25) -> Loop:
    """Of the main scenario, over one range."""
    return Loop(KILN, name, LOW, HIGH, n)


def with_late_devices(actuator_lag: float, dead_time: float, reading_dead_time: float) -> Case:
    damper = {"blades": "opposed", "area": 4.0, "stroke_time": 12.0, "place": "before volume",
              "lag": actuator_lag, "dead_time": dead_time}
    return plain(strategies={"it": {"outlet_damper": damper,
                                    "controller": {"gain": 0.4, "reset": 8.0}}},
                 control={"scan": 0.25,
                          "transmitter": {"lag": 1.0, "dead_time": reading_dead_time}})


# by modes, against e^(AT) and a solution of its own at every frequency


@pytest.mark.parametrize("name", list(KILN.strategies))
def test_the_modes_of_all_points_answer_as_each_plant_does(name: str) -> None:
    plants, scan = loop(name, 5).linear, KILN.control.scan
    stack, omega = Stack(plants), np.geomspace(1e-6, 1.0, 60) * pi / scan
    assert not stack.others.size
    np.testing.assert_allclose(stack.sampled(omega, scan),
                               [p.sampled(omega, scan) for p in plants], rtol=1e-9)
    np.testing.assert_allclose(stack.response(omega), [p.response(omega) for p in plants],
                               rtol=1e-8)


@pytest.mark.parametrize(("dead_time", "reading_dead_time"), [(0.0, 0.0), (0.6, 0.4), (0.0, 0.25)])
def test_dead_times_of_whole_scans_and_a_rest(dead_time: float, reading_dead_time: float) -> None:
    some = Loop(with_late_devices(0.5, dead_time, reading_dead_time), "it", 32.0, 40.0, 3)
    omega = np.geomspace(1e-5, 1.0, 50) * pi / some.scan
    np.testing.assert_allclose(some.stack.sampled(omega, some.scan),
                               [p.sampled(omega, some.scan) for p in some.linear], rtol=1e-9)
    np.testing.assert_allclose(some.stack.position(omega, some.scan)[0],
                               some.linear[0].position(omega, some.scan), rtol=1e-9)


def test_two_equal_lags_have_no_modes_of_their_own_and_go_the_longer_way() -> None:
    """1/(1 + s)² is no sum of first orders: its A is defective."""
    some = Loop(with_late_devices(1.0, 0.0, 0.0), "it", 32.0, 40.0, 3)
    assert some.stack.others.size == 3
    omega = np.geomspace(1e-5, 1.0, 50) * pi / some.scan
    np.testing.assert_array_equal(some.stack.sampled(omega, some.scan),
                                  [p.sampled(omega, some.scan) for p in some.linear])
    found = some.margins(some.robust())
    assert 1.5 < max(m.sensitivity for m in found) < 1.6


def test_margins_of_all_points_are_those_of_each() -> None:
    some = loop("inlet-vanes", 5)
    tuning = some.pid(2.0, 1.2, 0.3)
    for lin, together in zip(some.linear, some.margins(tuning), strict=True):
        alone = margins(lambda w, lin=lin: lin.sampled(w, some.scan), tuning)  # type: ignore[misc]
        assert together.stable == alone.stable
        for what in ("sensitivity", "complementary", "gain_margin", "phase_margin",
                     "delay_margin", "crossover"):
            assert getattr(together, what) == pytest.approx(getattr(alone, what), rel=1e-9)


def test_stability_is_still_told_where_1_plus_l_goes_round_zero() -> None:
    """K/(s(1 + s)(1 + s/2)) swings at K = 3, by Routh: s³ + 3s² + 2s + 2K."""
    def plant(k: float) -> Margins:
        return around(lambda w: k / (1j * w * (1.0 + 1j * w) * (1.0 + 0.5j * w)), 1e3, 0.5)

    assert plant(2.9).stable
    assert not plant(3.1).stable
    assert plant(1.5).gain_margin == pytest.approx(2.0, rel=1e-4)


# the robust tuning


@pytest.mark.parametrize("name", list(KILN.strategies))
@pytest.mark.parametrize("target", [1.3, 1.6, 2.0])
def test_a_bound_is_met_and_no_more_gain_would_keep_it(name: str, target: float) -> None:
    """Three digits of the gain and a search coarser than the judge leave 3 %."""
    some = loop(name)
    tuning = some.robust(target)
    found, more = (some.margins(some.pid(k * abs(tuning.gain), tuning.reset)) for k in (1.0, 1.03))
    assert all(m.stable for m in found)
    assert max(m.sensitivity for m in found) <= target
    assert max(m.complementary for m in found) <= MOST_MT * 1.003
    assert (max(m.sensitivity for m in more) > target
            or max(m.complementary for m in more) > MOST_MT
            or 1.03 * abs(tuning.gain) > some.most_noise_gain)


@settings(deadline=None)
@given(lag=st.floats(0.1, 10.0), dead_time=st.floats(0.0, 5.0), reset=st.floats(0.3, 20.0),
       target=st.floats(1.1, 3.0))
def test_the_largest_gain_is_where_a_bound_is_just_met(
    lag: float, dead_time: float, reset: float, target: float) -> None:
    """A PI around a lag with dead time: below that gain both bounds hold, just above one fails."""
    s = 1j * np.geomspace(1e-4, 1e3, 3000)[None]
    loops = (1.0 + 1.0 / (reset * s)) * np.exp(-dead_time * s) / (1.0 + lag * s)
    k = most_gain(loops, target)

    def kept(gain: float) -> bool:
        apart = np.abs(1.0 + gain * loops)
        return bool((1.0 / apart).max() <= target / CAREFUL
                    and (np.abs(gain * loops) / apart).max() <= MOST_MT)

    assert all(kept(share * k) for share in (0.1, 0.5, 0.9, 0.999))
    assert k == MOST_GAIN or not kept(1.001 * k)


@settings(max_examples=15, deadline=None)
@given(name=st.sampled_from(list(KILN.strategies)), low=st.floats(31.5, 37.0),
       width=st.floats(2.0, 9.0), target=st.floats(1.25, 2.2), n=st.integers(9, 20))
def test_the_robust_tuning_keeps_its_ms_between_its_points(
    name: str, low: float, width: float, target: float, n: int) -> None:
    """2 % of Ms is left for a corner of a sequence table between two points."""
    tuning = Loop(KILN, name, low, low + width, n).robust(target)
    found = Loop(KILN, name, low, low + width, 3 * n + 1).margins(tuning)
    assert all(m.stable for m in found)
    assert max(m.sensitivity for m in found) < 1.02 * target


def noisy(noise: float, **more: object) -> Case:
    transmitter = KILN.control.transmitter.model_copy(update={"noise": noise, **more})
    return KILN.model_copy(update={"control": KILN.control.model_copy(
        update={"transmitter": transmitter})})


def test_noise_bounds_the_gain() -> None:
    """0.5 % of the span may move the output by 1 %: Kc of 2 at the most."""
    some = Loop(noisy(0.005), "inlet-vanes", LOW, HIGH, 9)
    assert some.most_noise_gain == pytest.approx(MOST_STIRRED / 0.005)
    assert abs(loop("inlet-vanes").robust().gain) > 2.0
    assert abs(some.robust().gain) <= 2.0


def test_a_root_makes_more_of_the_noise_where_the_flow_is_low() -> None:
    """d√x = dx/(2√x): at a third of the span noise of the differential pressure counts 1.5."""
    plain_one = Loop(noisy(0.005), "inlet-vanes", LOW, HIGH, 3)
    rooted = Loop(noisy(0.005, square_root=True), "inlet-vanes", LOW, HIGH, 3)
    share = LOW / api.tune(KILN, ["inlet-vanes"], low=LOW, high=HIGH).span[1]
    assert rooted.most_noise_gain == pytest.approx(2.0 * share * plain_one.most_noise_gain,
                                                   rel=1e-5)


def test_noise_moves_the_output_of_a_run_by_the_gain() -> None:
    """σ of the output = Kc·σ of the noise, as far as the loop is slower than a scan."""
    case, gain = noisy(0.002), 1.5
    some = Loop(case, "inlet-vanes", LOW, HIGH, 3)
    history = at_rest(with_tuning(case, "inlet-vanes", gain, 10.0), "inlet-vanes", 40.0, 200.0)
    stirred = np.std(history.trace("controller_output")[history.time > 20.0])
    assert stirred == pytest.approx(gain * 0.002, rel=0.15)
    assert some.most_noise_gain == pytest.approx(5.0)


# schedules


@pytest.mark.parametrize("on", ["held", "output"])
@pytest.mark.parametrize("name", DAMPERS)
def test_a_schedule_keeps_ms_and_makes_the_loop_more_even(name: str, on: str) -> None:
    found = gain_schedule(loop(name), on=on)  # type: ignore[arg-type]
    assert 3 <= len(found.at) <= 5
    assert list(found.at) == sorted(found.at)
    assert found.after.sensitivity is not None
    assert found.after.sensitivity <= 1.6
    assert max(s for s in found.sensitivity if s is not None) == found.after.sensitivity
    assert found.after.gain_ratio < 0.6 * found.before.gain_ratio
    assert found.after.load_error < 0.6 * found.before.load_error


@pytest.mark.parametrize("name", DAMPERS)
def test_a_schedule_keeps_ms_between_the_points_it_was_judged_at(name: str) -> None:
    found = gain_schedule(loop(name))
    fine = loop(name, 50)
    between = [fine.pid(float(np.interp(x, found.at, found.gain)),
                        float(np.interp(x, found.at, found.reset))) for x in fine.held]
    judged = fine.margins(between)
    assert all(m.stable for m in judged)
    assert max(m.sensitivity for m in judged) < 1.6 * 1.01


def test_where_the_gain_hardly_changes_a_schedule_wins_nothing() -> None:
    found = gain_schedule(loop("variable-speed"))
    assert found.after.load_error == pytest.approx(found.before.load_error, rel=0.05)


def test_an_unstable_part_of_the_range_is_left_out_of_a_schedule() -> None:
    some = Loop(KILN, "damper-at-kiln", 20.0, 44.0)
    assert some.unstable.any()
    found = gain_schedule(some)
    assert min(found.at) >= some.held[some.unstable == 0].min()


# characterisers


@cache
def table(name: str) -> Characterised:
    return characteriser(loop(name))


@pytest.mark.parametrize("name", [*DAMPERS, "vanes-then-speed"])
def test_a_characteriser_makes_the_process_gain_of_the_range_the_same(name: str) -> None:
    """Twenty points of straight lines: some tenth of the gain is left over."""
    found = table(name)
    assert found.before.gain_ratio > 3.0
    assert found.after.gain_ratio < 1.3


@pytest.mark.parametrize("name", [*DAMPERS, "vanes-then-speed"])
def test_with_a_characteriser_one_tuning_rejects_load_better_at_the_same_ms(name: str) -> None:
    found = table(name)
    assert found.after.sensitivity is not None
    assert found.after.sensitivity <= 1.6
    assert found.after.load_error < 0.6 * found.before.load_error


def test_a_characterised_loop_keeps_ms_between_its_points_too() -> None:
    found = table("damper-at-fan")
    case = characterised(KILN, "damper-at-fan", as_description(found))
    fine = Loop(case, "damper-at-fan", LOW, HIGH, 60)
    gains = np.abs([p.gain for p in fine.processes])
    assert gains.max() / gains.min() < 1.3
    judged = fine.margins(fine.pid(found.gain, found.reset))
    assert max(m.sensitivity for m in judged) < 1.6 * 1.02


def test_a_run_through_a_characteriser_answers_alike_at_both_ends_of_the_range() -> None:
    """Time to the first nine tenths of a small step, low end against high end: with the table much
    the same, without it the low gain at the high end is far slower."""
    name, found = "damper-at-fan", table("damper-at-fan")
    one = loop(name).robust()
    without = with_tuning(KILN, name, abs(one.gain), one.reset)
    table_in = with_tuning(characterised(KILN, name, as_description(found)), name, found.gain,
                           found.reset)
    ratios = [rise(case, name, HIGH - 0.7) / rise(case, name, LOW + 0.5)
              for case in (without, table_in)]
    assert ratios[0] > 2.0
    assert ratios[1] == pytest.approx(1.0, abs=0.3)


def test_the_run_sends_the_element_where_the_table_says() -> None:
    shape = Characteriser(output=(0.0, 0.25, 0.7, 1.0), element=(0.0, 0.5, 0.8, 1.0))
    case = characterised(KILN, "inlet-vanes", shape)
    history = at_rest(with_tuning(case, "inlet-vanes", 0.9, 5.0), "inlet-vanes", 40.0, 5.0)
    output, demand = (history.trace(what)[0] for what in ("controller_output", "element_demand"))
    assert demand == pytest.approx(np.interp(output, shape.output, shape.element), rel=1e-9)
    assert abs(demand - output) > 0.05


@given(st.lists(st.floats(0.02, 1.0), min_size=1, max_size=5),
       st.lists(st.floats(0.02, 1.0), min_size=1, max_size=5),
       st.lists(st.floats(0.0, 1.0), min_size=4, max_size=4), st.floats(0.0, 1.0))
def test_a_sequence_behind_a_characteriser_is_one_after_the_other(
    outputs: list[float], elements: list[float], demands: list[float], at: float) -> None:
    n = min(len(outputs), len(elements))
    xs, ys = (np.append(0.0, np.cumsum(v[:n])) / sum(v[:n]) for v in (outputs, elements))
    xs[-1] = ys[-1] = 1.0
    legs = tuple(zip((0.0, 0.3, 0.6, 1.0), demands, strict=True))
    both = behind(Characteriser(output=tuple(xs.tolist()), element=tuple(ys.tolist())), legs)
    expected = np.interp(np.interp(at, xs, ys), *np.array(legs).T)
    assert np.interp(at, *np.array(both).T) == pytest.approx(expected, abs=1e-9)


def test_a_second_characteriser_is_refused() -> None:
    straight = Characteriser(output=(0.0, 1.0), element=(0.0, 1.0))
    case = characterised(KILN, "inlet-vanes", straight)
    with pytest.raises(RunError, match="has a characteriser already"):
        characterised(case, "inlet-vanes", straight)


def test_a_characteriser_has_no_place_where_each_element_has_a_loop() -> None:
    strategy = KILN.strategies["vanes-then-speed"]
    slow = MidRanging(target=0.7, controller=Controller(gain=0.2, reset=60.0))
    apart = strategy.model_copy(update={"sequence": None, "mid_ranging": slow})
    case = KILN.model_copy(update={"strategies": {"it": apart}})
    with pytest.raises(RunError, match="no place beside mid-ranging"):
        characterised(case, "it", Characteriser(output=(0.0, 1.0), element=(0.0, 1.0)))


@pytest.mark.parametrize(("written", "said"), [
    ("[0, 50, 40, 100]", "each value above the one before it"),
    ("[0, 50, 100]", "one for each value of output"),
    ("[0, 50, 80, 120]", "at most 100 %"),
])
def test_a_bad_table_in_a_file_is_told_in_a_sentence(tmp_path: Path, written: str, said: str
                                                     ) -> None:
    text = (SCENARIOS / "kiln-air.toml").read_text()
    key = "[strategies.inlet-vanes]\n"
    assert key in text
    file = tmp_path / "bad.toml"
    file.write_text(text.replace(
        key, key + "characteriser = { output = { unit = \"%\", values = [0, 25, 70, 100] }, "
        f"element = {{ unit = \"%\", values = {written} }} }}\n"))
    with pytest.raises(ScenarioError) as refused:
        api.load(file)
    assert said in str(refused.value)
    assert "characteriser" in str(refused.value)


def as_description(found: Characterised) -> Characteriser:
    return Characteriser(output=found.output, element=found.element)


def with_tuning(case: Case, name: str, gain: float, reset: float) -> Case:
    strategy = case.strategies[name]
    tuned = Controller(gain=gain, reset=reset)
    return case.model_copy(update={"strategies": {
        **case.strategies, name: strategy.model_copy(update={"controller": tuned})}})


def at_rest(case: Case, name: str, held: float, duration: float) -> History:
    run = case.run.model_copy(update={"duration": duration, "starts_at": held})
    return simulate(case.model_copy(update={"run": run, "timeline": ()}), name)


def rise(case: Case, name: str, held: float, step: float = 0.2) -> float:
    """[s] from a setpoint step to nine tenths of it, in a run."""
    run = case.run.model_copy(update={"duration": 60.0, "starts_at": held})
    move = case.timeline[0].model_copy(update={"at": 5.0, "setpoint": held + step, "over": 0.0})
    history = simulate(case.model_copy(update={"run": run, "timeline": (move,)}), name)
    there = history.traces["true_value"][:, 0] >= held + 0.9 * step
    return float(history.time[int(np.argmax(there))] - 5.0)
