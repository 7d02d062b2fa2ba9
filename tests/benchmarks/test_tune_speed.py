"""Tuning every strategy of the main scenario over 25 points each, the kernel warm."""

from math import pi
from pathlib import Path

import numpy as np
import pytest

from simfan import api
from simfan.loops.margins import margins
from simfan.loops.over_range import POINTS, Loop
from tests.benchmarks.conftest import Tell
from tests.benchmarks.runs import best

pytestmark = pytest.mark.benchmark

KILN = api.load(Path(__file__).parents[2] / "scenarios" / "kiln-air.toml")
LOW, HIGH = 31.05, 47.85


def test_tuning_all_strategies(tell: Tell) -> None:
    api.tune(KILN)
    seconds = best(lambda: api.tune(KILN), 3)
    tell(f"tuning {len(KILN.strategies)} strategies over {POINTS} points each",
         f"{seconds:.2f} s (reach for 2 s)")


def test_the_parts_of_it(tell: Tell) -> None:
    loops = [Loop(KILN, name, LOW, HIGH) for name in KILN.strategies]
    tuned = [loop.robust() for loop in loops]
    for what, seconds in (
            ("operating points and slopes",
             best(lambda: [Loop(KILN, name, LOW, HIGH) for name in KILN.strategies], 3)),
            ("robust PI of known plants", best(lambda: [loop.robust() for loop in loops], 3)),
            ("margins of a tuning", best(lambda: [loop.margins(c) for loop, c in
                                                  zip(loops, tuned, strict=True)], 3))):
        tell(f"tuning, of that: {what}", f"{1e3 * seconds / len(loops):.0f} ms a strategy")


def test_all_points_at_once_beside_one_by_one(tell: Tell) -> None:
    """By the modes of all points against e^(AT) and a solution of its own for each of them."""
    loop = Loop(KILN, "inlet-vanes", LOW, HIGH)
    tuning = loop.robust()
    omega = np.geomspace(1e-6, 1.0, 1500) * pi / loop.scan
    for what, one, other in (
            ("frequency response of 25 plants", lambda: loop.stack.sampled(omega, loop.scan),
             lambda: [lin.sampled(omega, loop.scan) for lin in loop.linear]),
            ("margins of 25 loops", lambda: loop.margins(tuning),
             lambda: [margins(lambda w, lin=lin: lin.sampled(w, loop.scan), tuning)  # type: ignore[misc]
                      for lin in loop.linear])):
        together, apart = best(one, 5), best(other, 2)
        tell(f"{what} at once, beside one by one",
             f"{1e3 * together:.1f} ms, {apart / together:.0f} times as fast")
