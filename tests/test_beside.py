"""Margins of a loop that has another one below or beside it hold in the plant that runs."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simfan import api
from simfan.loops.over_range import Loop
from simfan.loops.pairing import pairing
from simfan.plant.case import Case, Strategy
from simfan.plant.control import Controller
from simfan.plant.structure import Cascade, MidRanging, SecondLoop

KILN = api.load(Path(__file__).parents[1] / "scenarios" / "kiln-air.toml")
VANES, SPEED, DAMPER = (KILN.strategies[name] for name in (
    "vanes-then-speed", "variable-speed", "damper-at-kiln"))
STRUCTURES: dict[str, Strategy] = {
    "mid-ranging": VANES.model_copy(update={"sequence": None, "mid_ranging": MidRanging(
        target=0.7, controller=Controller(gain=0.6, reset=12.0))}),
    "cascade": SPEED.model_copy(update={"cascade": Cascade(
        holds="speed", controller=Controller(gain=1.0, reset=2.0))}),
    "two loops": DAMPER.model_copy(update={"speed": SPEED.speed, "second_loop": SecondLoop(
        holds="pressure", measured_at="volume", span=8000.0, setpoint=2500.0, moves="speed",
        controller=Controller(gain=0.5, reset=10.0))}),
}
HELD = 28.0
STEP = 0.005
"""[s]; a drive without a lag jumps at a scan, and the run lets it arrive half a step late."""
NUDGE = 1e-6
"""Of the setpoint: so small that the ramp of the drive is no limit."""


def case(name: str, **update: Any) -> Case:
    strategy = STRUCTURES[name].model_copy(update=update)
    return KILN.model_copy(update={"strategies": {name: strategy}, "year": None})


def growth(name: str, gain: float, reset: float) -> float:
    """Late over early swing of the flow after a nudge of the setpoint."""
    run = KILN.run.model_copy(update={"duration": 80.0, "starts_at": HELD, "record": None,
                                      "step": STEP})
    nudge = KILN.timeline[0].model_copy(update={"at": 5.0, "setpoint": HELD * (1.0 + NUDGE),
                                                "over": 0.0})
    history = api.run(case(name, controller=Controller(gain=gain, reset=reset)).model_copy(
        update={"run": run, "timeline": (nudge,)}), name)
    t, y = history.time, history.traces["true_value"][:, 0]
    early, late = (float(np.ptp(np.diff(y)[(t[1:] > a) & (t[1:] <= a + 15.0)]))
                   for a in (10.0, 60.0))
    return late / early


@pytest.mark.parametrize("name", list(STRUCTURES))
def test_the_gain_margin_is_where_the_running_plant_begins_to_swing(name: str) -> None:
    loop = Loop(case(name), name, HELD, HELD + 1e-6, n=1)
    margin = loop.margins(loop.pid(1.0, 1.5))[0].gain_margin
    assert margin is not None
    assert growth(name, margin * 0.93, 1.5) < 0.5
    assert growth(name, margin * 1.07, 1.5) > 2.0


@pytest.mark.parametrize("name", list(STRUCTURES))
def test_the_robust_tuning_keeps_its_ms_with_the_other_loop_running(name: str) -> None:
    loop = Loop(case(name), name, 24.0, 32.0, n=9)
    tuning = loop.robust(1.6)
    found = Loop(case(name), name, 24.0, 32.0, n=26).margins(tuning)
    assert all(m.stable for m in found)
    assert 1.3 < max(m.sensitivity for m in found) < 1.6 * 1.02


def test_two_loops_keep_the_largest_singular_value_too() -> None:
    loop = Loop(case("two loops"), "two loops", 24.0, 32.0, n=9)
    assert loop.beside is not None
    omega = np.geomspace(1e-5, 1.0, 3000) * np.pi / loop.scan
    both = loop.beside.largest_singular_value(loop.robust(1.6), omega)
    alone = max(m.sensitivity for m in loop.margins(loop.robust(1.6)))
    assert alone <= both.max() * 1.001
    assert both.max() < 1.6 * 1.02


def test_relative_gains_tell_the_pairing() -> None:
    """λ of a pairing is the gain of the first loop with the second open over that with the second
    closed, Bristol (1966); of the other pairing 1 − λ. Checked on the plant by closing the loop."""
    loop = Loop(case("two loops"), "two loops", 24.0, 32.0, n=5)
    assert loop.beside is not None
    low = np.array([1e-7])
    open_gain = loop.beside.paths[0, 0].sampled(low, loop.scan)[:, 0].real
    closed = loop.process(low)[:, 0].real
    assert loop.beside.relative_gains() == pytest.approx(open_gain / closed, rel=1e-4)
    assert (loop.beside.relative_gains() > 0.5).all()


def test_the_other_pairing_is_told_to_be_worse() -> None:
    """Flow by speed and pressure by the damper after the volume: λ is one less that of the pairing
    above, so it is told to change."""
    swapped = SecondLoop(holds="pressure", measured_at="volume", span=8000.0, setpoint=2500.0,
                         moves="outlet damper", controller=Controller(gain=0.3, reset=20.0))
    straight = Loop(case("two loops"), "two loops", 24.0, 32.0, n=5)
    crossed = Loop(case("two loops", second_loop=swapped), "two loops", 24.0, 32.0, n=5)
    assert straight.beside is not None and crossed.beside is not None
    assert straight.beside.relative_gains() + crossed.beside.relative_gains() == pytest.approx(
        1.0, abs=1e-3)
    good = pairing(straight, straight.pid(0.5, 8.0))
    bad = pairing(crossed, crossed.pid(0.5, 8.0))
    assert good is not None and "it is the pairing to take" in good.said[0]
    assert bad is not None and "take the other pairing" in bad.said[0]


def test_loops_that_cross_over_together_are_told() -> None:
    loop = Loop(case("two loops"), "two loops", 24.0, 32.0, n=5)
    slow, quick = pairing(loop, loop.pid(0.5, 8.0)), pairing(loop, loop.pid(1.45, 1.14))
    assert quick is not None and slow is not None
    assert quick.crossover is not None and quick.other_crossover is not None
    assert quick.crossover > 3.0 * quick.other_crossover
    assert not any("close to one another" in line for line in quick.said)
    assert any("close to one another" in line for line in slow.said)
