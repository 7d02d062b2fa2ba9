"""Limit cycles from stick and play: foretold from the loop's slopes, and seen in the plant that
runs."""

from dataclasses import dataclass
from functools import cache
from math import pi
from pathlib import Path

import control
import numpy as np
import pytest

from simfan import api
from simfan.loops import margins
from simfan.loops.describing import cycles
from simfan.loops.limit_cycle import square
from simfan.loops.over_range import Loop
from simfan.loops.trouble import limit_cycles, warnings_for
from simfan.plant.case import Case
from simfan.plant.control import Controller
from simfan.steady.bench import Array

KILN = api.load(Path(__file__).parents[1] / "scenarios" / "kiln-air.toml")
VANES = "inlet-vanes"
USUAL = Controller(gain=0.9, reset=5.0)
SHORT = Controller(gain=4.0, reset=1.5)


def worn(name: str, controller: Controller = USUAL, **device: float) -> Case:
    """The strategy alone, with stick or play in its vanes or damper, and a tuning."""
    strategy = KILN.strategies[name]
    key = "inlet_vanes" if strategy.inlet_vanes else "outlet_damper"
    made = getattr(strategy, key).model_copy(update=device)
    changed = strategy.model_copy(update={key: made, "controller": controller})
    return KILN.model_copy(update={"strategies": {name: changed}})


@dataclass(frozen=True)
class Seen:
    """The end of a run."""

    swing: float
    """Of the reading, from peak to peak."""
    travel: float
    """Of the element."""
    period: float | None
    share: float
    """Of whole periods, in which the element stands in the upper half of its travel."""
    error: float
    """Of the reading's mean from the setpoint."""


def ran(case: Case, held: float, seconds: float, nudge: float = 1.003) -> Seen:
    """The second half of a run after a nudge of the setpoint."""
    name = next(iter(case.strategies))
    run = case.run.model_copy(update={"duration": seconds, "starts_at": held, "record": None,
                                      "step": None})
    step = case.timeline[0].model_copy(update={"at": 5.0, "setpoint": held * nudge, "over": 0.0})
    history = api.run(case.model_copy(update={"run": run, "timeline": (step,)}), name)
    late = history.time > 0.5 * seconds
    time, y = history.time[late], history.traces["measured_value"][late, 0]
    x = history.traces["element_position"][late, 0]
    upper = x >= 0.5 * (x.max() + x.min())
    rises = np.flatnonzero(~upper[:-1] & upper[1:]) + 1
    whole = slice(rises[0], rises[-1]) if rises.size > 1 else slice(None)
    return Seen(float(np.ptp(y)), float(np.ptp(x)),
                float(np.diff(time[rises]).mean()) if rises.size > 1 else None,
                float(upper[whole].mean()), float(y.mean() - held * nudge))


def loop_at(case: Case, held: float) -> Loop:
    """The loop of the only strategy about one point."""
    return Loop(case, next(iter(case.strategies)), held, held, n=1)


STUCK = [
    # strategy, tuning, device, held value, seconds of the run
    (VANES, USUAL, {"resolution": 0.01}, 36.0, 600.0),
    (VANES, USUAL, {"resolution": 0.01, "backlash": 0.005}, 33.0, 800.0),
    (VANES, SHORT, {"resolution": 0.005}, 36.0, 300.0),
    (VANES, Controller(gain=4.0, reset=1.0), {"resolution": 0.005, "backlash": 0.005}, 36.0, 300.0),
    ("damper-at-kiln", USUAL, {"resolution": 0.01}, 36.0, 600.0),
    ("damper-at-fan", USUAL, {"resolution": 0.01}, 33.0, 600.0),
]


@pytest.mark.parametrize(("name", "tuning", "device", "held", "seconds"), STUCK)
def test_stick_makes_the_running_plant_swing_as_foretold(
    name: str, tuning: Controller, device: dict[str, float], held: float, seconds: float
) -> None:
    """Period to 5 %, swing to 5 %, with the share of the period that the element stood up in the
    run: the setpoint decides that, and no slope knows it. Travel is one step, to 6 %: a scan's move
    beyond it."""
    case = worn(name, tuning, **device)
    loop, seen = loop_at(case, held), ran(case, held, seconds)
    foretold, = limit_cycles(loop, loop.given(), seen.share)
    assert foretold.swings
    assert seen.period == pytest.approx(foretold.period, rel=0.05)
    assert seen.swing == pytest.approx(foretold.swing, rel=0.05)
    assert seen.travel == pytest.approx(device["resolution"], rel=0.06)


@pytest.mark.parametrize(("name", "tuning", "device", "held", "seconds"), STUCK)
def test_half_up_half_down_is_the_shortest_period(
    name: str, tuning: Controller, device: dict[str, float], held: float, seconds: float
) -> None:
    """So what is foretold without a run is the period at its shortest, and the swing to 6 %."""
    loop = loop_at(worn(name, tuning, **device), held)
    even, = limit_cycles(loop, loop.given())
    for share in (0.2, 0.35, 0.65, 0.8):
        other, = limit_cycles(loop, loop.given(), share)
        if other.swings:
            assert even.period is not None and other.period is not None
            assert other.period > even.period
            assert other.swing == pytest.approx(even.swing, rel=0.06)


PLAYING = [(Controller(gain=8.0, reset=0.7), 0.01), (Controller(gain=12.0, reset=1.0), 0.01)]


@pytest.mark.parametrize(("tuning", "play"), PLAYING)
def test_play_makes_a_loop_with_a_short_reset_swing_as_foretold(
    tuning: Controller, play: float) -> None:
    """By the describing function alone: period to 3 %, swing to 5 %. The reset is shorter than lag
    and dead time together, and Ms is about 4 to 6."""
    case = worn(VANES, tuning, backlash=play)
    loop, seen = loop_at(case, 36.0), ran(case, 36.0, 200.0, nudge=1.02)
    assert loop.margins(loop.given())[0].stable
    foretold, = limit_cycles(loop, loop.given())
    assert foretold.swings
    assert foretold.period == foretold.sine_period
    assert seen.period == pytest.approx(foretold.period, rel=0.03)
    assert seen.swing == pytest.approx(foretold.swing, rel=0.05)


@pytest.mark.parametrize("tuning", [USUAL, SHORT, Controller(gain=6.0, reset=3.0)])
def test_play_alone_comes_to_rest_under_a_sound_tuning(tuning: Controller) -> None:
    """Ms below 2: McMillan, Tuning and Control Loop Performance (2012), as published: dead band
    alone does not make a self-regulating loop swing."""
    case = worn(VANES, tuning, backlash=0.02)
    loop = loop_at(case, 36.0)
    assert loop.margins(loop.given())[0].sensitivity < 2.0
    foretold, = limit_cycles(loop, loop.given())
    assert not foretold.swings
    assert foretold.period is foretold.swing is None
    assert ran(case, 36.0, 400.0).swing < 1e-3


def test_a_reset_from_the_measured_position_ends_the_swing_and_leaves_an_offset() -> None:
    case = worn(VANES, USUAL.model_copy(update={"reset_from": "position"}), resolution=0.01)
    loop = loop_at(case, 36.0)
    foretold, = limit_cycles(loop, loop.given())
    assert not foretold.swings
    seen = ran(case, 36.0, 400.0)
    assert seen.swing < 1e-9
    assert 0.01 < abs(seen.error) < 0.5


def test_an_element_without_stick_beside_it_does_the_rest() -> None:
    """Vanes that stick, speed that does not, on one output: no swing, foretold and run."""
    case = worn("vanes-with-speed", resolution=0.01)
    loop = loop_at(case, 36.0)
    foretold, = limit_cycles(loop, loop.given())
    assert foretold.element == "inlet vanes"
    assert not foretold.swings
    assert ran(case, 36.0, 400.0).swing < 1e-3


def test_an_even_swing_agrees_with_python_control_for_a_relay_with_hysteresis() -> None:
    """One step of stick r with play b is a relay ±r/2 with a band of ±(r + b)/2. Three lags under
    integral control; `describing_function_response` looks on a grid, hence 1 %."""
    r, b = 0.1, 0.1
    plant = control.tf([0.6], [1.0, 0.0]) * control.tf([1.0], np.polymul([1.0, 1.0], [0.5, 1.0]))
    relay = control.relay_hysteresis_nonlinearity(0.5 * r, 0.5 * (r + b))
    found = control.describing_function_response(
        plant, relay, np.linspace(0.5 * (r + b) * 1.001, 0.3, 400), np.geomspace(0.1, 10.0, 600))
    amplitude, omega = found.intersections[0]

    def loop(w: Array) -> Array:
        s = 1j * np.asarray(w)
        return np.asarray(0.6 / (s * (s + 1.0) * (0.5 * s + 1.0)))

    ours, = (c for c in cycles(loop, 50.0, r, b) if c.steps == 1)
    assert ours.omega == pytest.approx(omega, rel=0.01)
    assert ours.amplitude == pytest.approx(amplitude, rel=0.01)


def test_harmonics_matter_where_the_swing_is_slow() -> None:
    """A loop whose reset is longer than lag + dead time swings in a square wave that no sine stands
    for: the describing function foretells none, the sum over harmonics does, and the plant does."""
    slow, = limit_cycles(*told(worn(VANES, resolution=0.01)))
    assert slow.swings
    assert slow.sine_period is None
    quick, = limit_cycles(*told(worn(VANES, SHORT, resolution=0.005)))
    assert quick.sine_period == pytest.approx(quick.period, rel=0.05)
    assert quick.sine_swing == pytest.approx(quick.swing, rel=0.1)


@cache
def settled() -> tuple[Loop, Loop]:
    """A range of one strategy with vanes that stick, and without."""
    return (Loop(worn(VANES, resolution=0.005), VANES, 33.0, 43.0, n=5),
            Loop(worn(VANES), VANES, 33.0, 43.0, n=5))


def told(case: Case) -> tuple[Loop, margins.Controller]:
    """The loop about 36 m³/s and its tuning."""
    loop = loop_at(case, 36.0)
    return loop, loop.given()


def test_the_worst_point_of_the_range_is_told_and_a_sound_element_tells_nothing() -> None:
    stuck, sound = settled()
    said, = warnings_for(stuck, stuck.given())
    found = limit_cycles(stuck, stuck.given())
    worst = max(found, key=lambda c: c.swing or 0.0)
    assert len(found) == 5
    assert "a resolution of 0.5 % makes this loop swing" in said
    assert f"widest at {worst.held:.3g} m3/s" in said
    assert warnings_for(sound, sound.given()) == []


def test_a_scan_that_is_slow_for_the_loop_is_told() -> None:
    control_ = KILN.control.model_copy(update={"scan": 1.0})
    loop = loop_at(KILN.model_copy(update={
        "control": control_, "strategies": worn(VANES).strategies}), 36.0)
    said, = warnings_for(loop, loop.given())
    assert "a scan of 1 s is" in said
    assert "lag and dead time" in said


def test_the_front_door_takes_a_tuning() -> None:
    case = worn(VANES, resolution=0.005)
    given, = api.limit_cycles(case, VANES, 36.0)
    other, = api.limit_cycles(case, VANES, 36.0, gain=4.0, reset=1.5)
    assert given.period is not None and other.period is not None
    assert other.period < 0.3 * given.period
    untuned = case.strategies[VANES].model_copy(update={"controller": None})
    without = case.model_copy(update={"strategies": {VANES: untuned}})
    sought, = api.limit_cycles(without, VANES, 36.0)
    assert sought.swings
    assert sought.period != given.period
    assert other.travel == given.travel == 0.005


def test_the_closed_form_of_a_first_order_under_integral_control() -> None:
    """A PI whose reset cancels the lag leaves L = k/s, k = K·Kc/Ti: the stem runs in straight lines
    of k·r/2 a second over r + b, up and down, P = 4(1 + b/r)/k."""
    k, r, b = 0.5, 0.1, 0.05
    found = square(lambda w: k / (1j * np.asarray(w)), 2000.0, r, b)
    assert found is not None
    assert 2.0 * pi / found.omega == pytest.approx(4.0 * (1.0 + b / r) / k, rel=2e-3)
