"""Cost grows linearly with branches and with simulated time; judging costs little beside it."""

from typing import Any

import numpy as np
import pytest

from simfan.assemble import Assembled
from simfan.kernel import advance, layout
from simfan.kernel.layout import DONE, Schedule
from simfan.metrics import judge
from simfan.plant.case import Criteria
from simfan.simulate import simulate
from tests.benchmarks.conftest import Tell
from tests.benchmarks.runs import best, going, to
from tests.networks import chain
from tests.plants import plain

pytestmark = pytest.mark.benchmark

PIECES = [2, 4, 8, 16, 32, 64]
DURATIONS = [960.0, 1920.0, 3840.0, 7680.0]
N_STEPS = 4000


def _seconds(rig: Assembled) -> float:
    """Of a whole run of a chain of pieces."""
    plant = rig.plant
    n = plant.last_tick + 1
    plan = Schedule(*[np.repeat(column, n, axis=0) for column in rig.base])
    traces = layout.traces(plant)
    start = layout.rest(plant)
    n_volumes = plant.network.volume.size
    start.moving[:n_volumes] = rig.base.pressure[0, 0]
    start.moving[2 * n_volumes] = 1.0

    def work() -> None:
        state = layout.copy(start)
        assert advance.advance(plant, plan, state, traces, plant.last_tick) == DONE

    work()
    return best(work)


def _straight(x: list[float], y: list[float]) -> tuple[float, float, float]:
    """Slope and height of the line through (x, y), and how far, of y, a point lies off it."""
    slope, height = np.polyfit(x, y, 1, w=1.0 / np.array(y))
    away = np.abs(np.polyval((slope, height), x) / y - 1.0).max()
    return float(slope), float(height), float(away)


def test_cost_is_linear_in_branches(tell: Tell) -> None:
    costs = [1e9 * _seconds(chain(n, 0.001, 0.001 * N_STEPS)) / N_STEPS for n in PIECES]
    per_branch, fixed, away = _straight([n + 2.0 for n in PIECES], costs)
    tell("cost against branches (4 to 66)",
         f"{fixed:.0f} ns + {per_branch:.0f} ns a branch and step, off the line by "
         f"{100 * away:.0f} % at most")
    assert away < 0.4


def test_cost_is_linear_in_simulated_time(tell: Tell) -> None:
    runs = [going("before", to(36.0), T) for T in DURATIONS]
    costs = [1e3 * best(run.go, rounds=15) for run in runs]
    per_second, fixed, away = _straight(DURATIONS, costs)
    tell("cost against simulated time (16 to 128 min)",
         f"{fixed:.2f} ms + {3600 * per_second:.0f} ms an hour, off the line by "
         f"{100 * away:.0f} % at most")
    assert away < 0.4


@pytest.mark.parametrize(("name", "setpoint"), [("before", 36.0), ("after", 15.0)])
def test_cost_of_judging(name: str, setpoint: float, benchmark: Any, tell: Tell) -> None:
    case = plain(run={"duration": 960.0, "starts_at": 45.0},
                 timeline=[{"at": 60.0, "setpoint": setpoint}])
    history = simulate(case, name)
    benchmark.pedantic(lambda: judge(history, Criteria()), rounds=5, warmup_rounds=1)
    seconds = benchmark.stats.stats.min
    cycles = judge(history, Criteria()).excursions.surge_cycles
    tell(f"judging 16 min, {history.time.size} samples, {cycles} surge cycles",
         f"{1e3 * seconds:.1f} ms, {1e9 * seconds / history.time.size:.0f} ns a sample")
    assert (cycles > 100) is (name == "after")
