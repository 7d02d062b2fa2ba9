"""Runs per second of a search on one thread and on two; memory that does not grow with the runs."""

import tracemalloc
from time import perf_counter

import numpy as np
import pytest

from simfan.plant.case import Case
from simfan.stress.runs import Runs
from simfan.stress.space import Space, random_points
from simfan.stress.store import Store
from tests.benchmarks.conftest import Tell
from tests.plants import plain

pytestmark = pytest.mark.benchmark

MOVES = {"from": [36.0, 45.0], "to": [36.0, 45.0], "over": [0.0, 60.0], "at": 30.0}
VARY = [{"of": "process.design.pressure", "plus_minus": 0.05}]
SPACES = {"moves of one plant": {"moves": MOVES}, "a plant of its own": {"moves": MOVES,
                                                                         "vary": VARY}}
RUNS = 40


def runs(space: dict[str, object], threads: int, duration: float = 600.0) -> Runs:
    case: Case = plain(run={"duration": duration, "starts_at": 45.0}, stress=space)
    made = Runs(case, "before", Space(case, "before"), Store(None, {}), threads)
    made(random_points(1, 0, 2, len(made.space.inputs)))
    return made


@pytest.mark.parametrize("what", SPACES)
def test_runs_a_second(what: str, tell: Tell) -> None:
    rates = []
    for threads in (1, 2):
        made = runs(SPACES[what], threads)
        points = random_points(2, 0, RUNS, len(made.space.inputs))
        begun = perf_counter()
        made(points)
        rates.append(RUNS / (perf_counter() - begun))
    tell(f"runs of 600 s, {what}", f"{rates[0]:5.1f} a second on one thread, {rates[1]:5.1f} on "
                                   f"two ({rates[1] / rates[0]:.2f} x)")
    assert min(rates) > 0.0


def test_memory_is_flat_in_the_number_of_runs(tell: Tell) -> None:
    """What ten times the runs take more is their points and distances alone."""
    made = runs({"moves": MOVES | {"at": 10.0, "over": [0.0, 20.0]}}, 1, 40.0)
    peaks = []
    for first, number in ((0, 200), (200, 2000)):
        points = np.ascontiguousarray(random_points(3, first, number, len(made.space.inputs)))
        points[:, 0] = 0.5
        tracemalloc.start()
        made(points)
        peaks.append(tracemalloc.get_traced_memory()[1] / 1e6)
        tracemalloc.stop()
    tell("peak memory of 200 and 2000 runs", f"{peaks[0]:.1f} and {peaks[1]:.1f} MB")
    assert peaks[1] - peaks[0] < 2000 * 5e-3
