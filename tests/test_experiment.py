"""Tests on a loop in manual, in the plant that runs: what they show, and what spoils them."""

import json
from math import exp, log, pi
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from simfan import api
from simfan.cli import main
from simfan.errors import RunError
from simfan.experiment_answer import BumpTest
from simfan.loops.experiment import bump_test
from simfan.loops.models import FirstOrder, SecondOrder
from simfan.loops.relay import relay_test
from simfan.loops.rig import rig
from simfan.plant.case import Case
from tests.plants import plain
from tests.test_structures import CASCADE, MID

SCENARIOS = Path(__file__).parents[1] / "scenarios"
KILN = api.load(SCENARIOS / "kiln-air.toml")
VANES = "inlet-vanes"


def worn(name: str = VANES, case: Case = KILN, **device: float) -> Case:
    """The case with stick or play in a strategy's vanes or damper."""
    strategy = case.strategies[name]
    key = "inlet_vanes" if strategy.inlet_vanes else "outlet_damper"
    made = getattr(strategy, key).model_copy(update=device)
    return case.model_copy(update={"strategies": {
        **case.strategies, name: strategy.model_copy(update={key: made})}})


def seeded(seed: int) -> Case:
    """The case with other noise."""
    return KILN.model_copy(update={"run": KILN.run.model_copy(update={"seed": seed})})


@pytest.mark.parametrize("name", ["damper-at-kiln", "damper-at-fan", VANES, "variable-speed"])
def test_a_small_bump_shows_the_gain_of_the_slopes(name: str) -> None:
    """To 1 %, without noise; a plant is not linear, but ±0.5 % of output is small."""
    found = bump_test(KILN, name, 36.0, size=0.005)
    assert found.fits[0].model.gain == pytest.approx(found.linear.gain, rel=0.01)
    assert found.fits[1].model.gain == pytest.approx(found.linear.gain, rel=0.01)


def test_a_large_bump_shows_a_mean_of_a_gain_that_changes() -> None:
    """The vanes' characteristic bends: up and down lie on either side of the slope, and the fit in
    between."""
    found = bump_test(KILN, VANES, 36.0, size=0.06)
    assert found.gain_up < 0.95 * found.linear.gain
    assert found.gain_down > 1.05 * found.linear.gain
    assert found.gain_up < found.fits[0].model.gain < found.gain_down


@pytest.mark.parametrize("name", ["damper-at-kiln", VANES])
def test_the_second_order_answers_as_the_slopes_do(name: str) -> None:
    """At the knee of the process, amplitude to 3 % and phase to 3 degrees. The fit sees the hold of
    the reading as half a scan more dead time than the linear plant has, no more."""
    found = bump_test(KILN, name, 36.0, size=0.005)
    model = found.fits[1].model
    assert model.second_lag is not None
    fitted = SecondOrder(model.gain, model.lag, model.second_lag, model.dead_time)
    omega = np.array([1.0 / found.linear.lag])
    exact = rig(KILN, name, 36.0).linear.response(omega)[0]
    seen = fitted.response(omega)[0]
    assert abs(seen / exact) == pytest.approx(1.0, abs=0.03)
    assert abs(np.angle(seen / exact, deg=True)) < 3.0


def test_both_ways_show_the_play_that_one_way_hides() -> None:
    """From the middle of its gap b the vanes move by 2s − b of the 2s they are told, and the
    readings at rest after up and after down lie b apart."""
    play, size = 0.01, 0.03
    found = bump_test(worn(backlash=play), VANES, 36.0, size=size)
    assert found.moved["inlet vanes"] == pytest.approx((2.0 * size - play) / (2.0 * size), abs=1e-3)
    assert found.dead_band == pytest.approx(play, rel=0.05)
    assert bump_test(KILN, VANES, 36.0, size=size).dead_band == 0.0
    assert any("should be 5 times as large" in said for said in found.findings)


def test_what_play_swallows_is_taken_out_before_the_fit() -> None:
    """Three quarters of a move of 2 % go in each turn; the gain comes out right to 4 % all the
    same, which is how much the characteristic bends."""
    found = bump_test(worn(backlash=0.015), VANES, 36.0, size=0.02)
    assert found.fits[0].model.gain == pytest.approx(found.linear.gain, rel=0.04)
    assert any("was taken out of the moves" in said for said in found.findings)
    assert np.ptp(found.record.reading) < 0.7 * 2.0 * 0.02 * found.linear.gain * found.span[1]


def test_a_bump_that_stick_swallows_is_refused_with_a_size_that_is_not() -> None:
    stuck = worn(resolution=0.02)
    with pytest.raises(RunError, match="swallowed by the play and stick"):
        bump_test(stuck, VANES, 36.0, size=0.015)
    chosen = bump_test(stuck, VANES, 36.0)
    assert chosen.size == pytest.approx(0.1)
    assert chosen.moved["inlet vanes"] > 0.8


def test_the_bands_hold_what_a_test_without_noise_shows() -> None:
    """Twelve draws of noise; bands of 95 % miss on average 0.6 of them, and more than three of
    twelve one time in 500."""
    quiet = bump_test(KILN, VANES, 36.0, size=0.05).fits[0].model
    held = 0
    for seed in range(12):
        found = bump_test(seeded(seed), VANES, 36.0, size=0.05, noise=0.003).fits[0]
        held += abs(found.model.gain - quiet.gain) < found.half_width["gain"]
    assert held >= 9


def test_more_noise_makes_wider_bands_and_too_much_is_told() -> None:
    some, much = (bump_test(KILN, VANES, 36.0, size=0.04, noise=noise) for noise in (0.0005, 0.01))
    assert much.fits[0].half_width["gain"] > 10.0 * some.fits[0].half_width["gain"]
    assert not any("is known to" in said for said in some.findings)
    assert any("is known to" in said and "larger" in said for said in much.findings)
    with pytest.raises(RunError, match="lost in the noise"):
        bump_test(KILN, VANES, 36.0, size=0.002, noise=0.02)


def test_noise_play_and_stick_choose_the_size() -> None:
    plainly, noisy = bump_test(KILN, VANES, 36.0), bump_test(KILN, VANES, 36.0, noise=0.004)
    assert plainly.size == 0.03
    assert noisy.size == pytest.approx(10.0 * 0.004 / noisy.linear.gain)
    assert bump_test(worn(backlash=0.01), VANES, 36.0).size == pytest.approx(0.05)


def test_drift_is_seen_and_taken_out() -> None:
    """The process clogs by 10 % over the test: the flow falls, the gain is what it was."""
    still, drifting = (bump_test(KILN, VANES, 36.0, drift=drift) for drift in (0.0, 0.10))
    assert abs(still.drift) < 0.02 * abs(drifting.drift)
    assert drifting.drift < 0.0
    assert drifting.fits[0].model.gain == pytest.approx(still.fits[0].model.gain, rel=0.04)
    fallen = drifting.record.reading[-1] - drifting.record.reading[0]
    assert drifting.drift * drifting.record.time[-1] == pytest.approx(fallen, rel=0.1)


def test_a_sequence_that_turns_a_corner_within_the_bump_is_told() -> None:
    """Vanes first, then speed: the corner stands at 50 % output."""
    name = "vanes-then-speed"
    at = api.point_for(KILN, name, 34.0)
    assert not isinstance(at, str)
    assert 0.48 < at.output < 0.53
    found = bump_test(KILN, name, 34.0)
    assert any("turns a corner" in said for said in found.findings)


def test_a_drive_whose_ramp_spoils_the_bump_is_told() -> None:
    """40 s for the whole speed range: 3 % of it takes 1.26 s."""
    found = bump_test(KILN, "variable-speed", 36.0)
    assert any("rate limit takes 1.26 s" in said for said in found.findings)
    assert found.fits[0].model.dead_time > 3.0 * found.linear.dead_time
    assert not bump_test(KILN, "variable-speed", 36.0, size=0.005).findings


@pytest.mark.parametrize(("name", "held", "size", "said"), [
    (VANES, 36.0, 0.7, "leaves the output's limits"),
    (VANES, 36.0, 0.0, "leaves the output's limits"),
    (VANES, 80.0, None, "does not hold 80 m3/s"),
    ("damper-at-kiln", 20.0, None, "unstable with its elements standing still"),
])
def test_a_test_that_cannot_be_made_is_refused_in_a_sentence(
    name: str, held: float, size: float | None, said: str) -> None:
    for test in (bump_test, relay_test):
        with pytest.raises(RunError, match=said):
            test(KILN, name, held, size=size)


def lagging(lag: float, dead_time: float) -> Case:
    """A plant that is all transmitter: everything else is quick beside it."""
    case = plain()
    transmitter = case.control.transmitter.model_copy(update={"lag": lag, "dead_time": dead_time})
    quick = case.strategies["before"].outlet_damper
    assert quick is not None
    damper = quick.model_copy(update={"lag": 0.0, "stroke_time": 1.0})
    strategy = case.strategies["before"].model_copy(update={"outlet_damper": damper})
    return case.model_copy(update={
        "strategies": {"before": strategy},
        "control": case.control.model_copy(update={"transmitter": transmitter})})


def test_a_relay_swings_a_first_order_with_dead_time_as_calculated() -> None:
    """a = dK(1 − e^(−L/T)), P = 2T·ln(2e^(L/T) − 1) (piecewise exponentials), T 20 s, L 20 s, in
    the kernel. Switching is late by half a scan of 0.25 s on average; the air path takes some
    0.2 s: both come to the dead time, in P by 2 to 3 % and in a by less."""
    lag, dead, d = 20.0, 20.0, 0.01
    found = relay_test(lagging(lag, dead), "before", 42.0, size=d, hysteresis=0.0)
    gain = rig(lagging(lag, dead), "before", 42.0).linear.gain
    width = found.span[1] - found.span[0]
    assert found.swing / width == pytest.approx(d * gain * (1.0 - exp(-dead / lag)), rel=0.02)
    period = 2.0 * lag * log(2.0 * exp(dead / lag) - 1.0)
    assert found.ultimate_period == pytest.approx(period, rel=0.03)
    assert found.ultimate_gain == pytest.approx(4.0 / (pi * (1.0 - exp(-1.0)) * gain), rel=0.02)
    assert found.phase == -pi
    assert found.findings == ()


@pytest.mark.parametrize(("lag", "dead", "low"), [(20.0, 20.0, 0.109), (40.0, 8.0, 0.174)])
def test_the_relay_finds_the_ultimate_point_as_low_as_its_describing_function_lies(
    lag: float, dead: float, low: float) -> None:
    """Against margins.ultimate of the sampled plant: Ku 10.9 % low where T = L and 17.4 % low where
    T = 5L (calculated for the ideal relay); Pu within 4 %."""
    found = relay_test(lagging(lag, dead), "before", 42.0, size=0.01, hysteresis=0.0)
    assert found.linear_gain is not None
    assert 1.0 - found.ultimate_gain / found.linear_gain == pytest.approx(low, abs=0.02)
    assert found.ultimate_period == pytest.approx(found.linear_period, rel=0.04)


def test_a_band_slows_a_swing_that_the_scan_would_rule() -> None:
    """Without a band this loop swings in five scans of 0.25 s, of which no period can be told; the
    band chosen makes it fourteen, and the point found is one of the plant: amplitude to 10 %."""
    with pytest.raises(RunError, match="no even swing"):
        relay_test(KILN, VANES, 36.0, size=0.01, hysteresis=0.0)
    found = relay_test(KILN, VANES, 36.0, size=0.01)
    assert 12 <= found.ultimate_period / found.scan <= 16
    assert found.phase > -0.8 * pi
    assert any("too few to tell a period" in said for said in found.findings)
    stand = rig(KILN, VANES, 36.0)
    exact = stand.linear.sampled(np.array([2.0 * pi / found.ultimate_period]), found.scan)[0]
    width = found.span[1] - found.span[0]
    assert found.swing / width == pytest.approx(abs(exact) * 4.0 * found.size / pi, rel=0.1)


def test_noise_widens_the_band() -> None:
    found = relay_test(lagging(20.0, 20.0), "before", 42.0, size=0.03, noise=0.002)
    width = found.span[1] - found.span[0]
    assert found.hysteresis == pytest.approx(3.0 * 0.002 * width, rel=0.25)
    assert found.ultimate_period > 59.0


def test_the_record_is_the_one_a_recorder_at_the_scans_would_see() -> None:
    """Reading and position answer from the scan after the move on."""
    found = bump_test(KILN, VANES, 36.0)
    record = found.record
    moved = int(np.flatnonzero(np.diff(record.output))[0]) + 1
    assert record.time[moved] == found.hold
    assert np.ptp(record.reading[:moved + 1]) < 1e-6
    assert np.ptp(record.position[:moved + 1]) < 1e-9
    assert record.position[moved + 1, 0] > record.position[moved, 0] + 1e-3
    assert found.elements == ("inlet vanes",)


def test_the_curve_and_its_band_are_those_of_the_model() -> None:
    found: BumpTest = bump_test(KILN, VANES, 36.0, noise=0.002)
    fit, record = found.fits[0], found.record
    model = FirstOrder(fit.model.gain, fit.model.lag, fit.model.dead_time)
    width = found.span[1] - found.span[0]
    first = record.time < 2.0 * found.hold
    rise = found.size * model.step(record.time[first] - found.hold)
    drift = found.drift * record.time[first]
    assert fit.curve[first] - fit.curve[0] == pytest.approx(width * rise + drift, abs=1e-9)
    inside = np.abs(record.reading - fit.curve) < fit.band
    assert 0.0 < fit.band.max() < 4.0 * fit.left * width
    assert inside.mean() < 0.9, "the band is that of the curve, not of the readings"


def test_a_slow_loop_on_speed_stands_in_manual_while_the_fast_one_is_tested() -> None:
    """Mid-ranging: the vanes alone answer, with the gain of their own slopes, to 1 %."""
    found = bump_test(plain(strategies={"it": MID}), "it", 36.0, size=0.01)
    assert found.fits[0].model.gain == pytest.approx(found.linear.gain, rel=0.01)
    speed = found.record.position[:, found.elements.index("speed")]
    assert np.ptp(speed) == 0.0


def test_a_controller_over_an_inner_loop_is_refused() -> None:
    for test in (bump_test, relay_test):
        with pytest.raises(RunError, match="moves no element"):
            test(plain(strategies={"it": CASCADE}), "it", 36.0)


def command(*words: str) -> Any:
    return CliRunner(env={"COLUMNS": "80"}).invoke(main, [*words])


BUMP = ("bump", str(SCENARIOS / "kiln-air.toml"), "--strategy", VANES, "--at", "36 m3/s")
RELAY = ("relay", *BUMP[1:])


def test_the_commands_tell_the_same_in_json() -> None:
    got = command(*BUMP, "--size", "3%", "--json")
    assert got.exit_code == 0, got.output
    answer, found = json.loads(got.stdout), bump_test(KILN, VANES, 36.0, size=0.03)
    assert answer["linear"]["gain_percent_per_percent"] == found.linear.gain
    assert answer["linear"]["second_lag_s"] is None
    assert answer["linear"]["reasons"]["second_lag_s"]
    assert [fit["order"] for fit in answer["fits"]] == [1, 2]
    assert answer["fits"][0]["half_width_95"]["lag_s"] == found.fits[0].half_width["lag"]
    record = answer["record"]
    assert len(record["time_s"]) == len(record["position_percent"]["inlet vanes"])
    swing = json.loads(command(*RELAY, "--json").stdout)
    assert swing["ultimate_gain"] < swing["linear_ultimate_gain"]
    assert len(swing["record"]["reading_m3s"]) == len(swing["record"]["output_percent"])


@pytest.mark.parametrize("words", [BUMP, RELAY])
def test_the_text_fits_eighty_columns_and_ends_with_cautions(words: tuple[str, ...]) -> None:
    got = command(*words)
    assert got.exit_code == 0
    assert max(map(len, got.stdout.splitlines())) <= 80
    assert "agree every move with the operators" in got.stdout


def test_the_folder_has_page_text_numbers_and_picture(tmp_path: Path) -> None:
    for words in (BUMP, RELAY):
        assert command(*words, "--out", str(tmp_path)).exit_code == 0
    assert {p.name for p in tmp_path.iterdir()} == {
        f"{name}.{ending}" for name in ("bump", "relay")
        for ending in ("json", "txt", "html", "svg", "png")}
    assert "<svg" in (tmp_path / "bump.html").read_text()


@pytest.mark.parametrize(("words", "said"), [
    (("--at", "36"), "the unit is missing"),
    (("--at", "36 m3/s", "--size", "3 m"), "--size"),
    (("--at", "36 m3/s", "--size", "90%"), "leaves the output's limits"),
    (("--at", "90 m3/s"), "does not hold 90 m3/s"),
])
def test_bad_words_are_told_in_a_sentence(words: tuple[str, ...], said: str) -> None:
    for test in ("bump", "relay"):
        got = command(test, str(SCENARIOS / "kiln-air.toml"), "--strategy", VANES, *words)
        assert got.exit_code == 2
        assert said in " ".join(got.output.split())
        assert "Traceback" not in got.output


def test_an_unknown_strategy_is_told() -> None:
    got = command("bump", *BUMP[1:2], "--strategy", "inlet-vane", "--at", "36 m3/s")
    assert got.exit_code == 2
    assert "did you mean inlet-vanes" in " ".join(got.output.split())
