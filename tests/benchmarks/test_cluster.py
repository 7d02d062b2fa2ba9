"""What a cluster costs more than this machine alone, and how soon a campaign goes on."""

from pathlib import Path
from time import perf_counter

import numpy as np
import pytest

from simfan.stress.cluster import Cluster
from simfan.stress.local import Local
from simfan.stress.runs import Runs
from simfan.stress.space import random_points
from simfan.stress.store import Outcome, Store
from tests.benchmarks.conftest import Tell
from tests.benchmarks.test_stress import SPACES, runs

distributed = pytest.importorskip("distributed")
pytestmark = pytest.mark.benchmark

RUNS = 60
KEPT = 100_000


def seconds(made: Runs, seed: int) -> float:
    """What RUNS runs take."""
    points = random_points(seed, 0, RUNS, len(made.space.inputs))
    begun = perf_counter()
    made(points)
    return perf_counter() - begun


class Timed(Cluster):
    """Counts how long its workers made runs."""

    busy = 0.0
    """[s]."""

    def _result(self, future: "distributed.Future") -> tuple[list[Outcome], float]:
        made, took = super()._result(future)
        self.busy += took
        return made, took


def test_overhead_of_a_cluster_against_this_process(tell: Tell) -> None:
    """One worker of one thread, and one process here. The share of the time in which the worker
    made runs is what scheduling and sending left of it."""
    made = runs(SPACES["a plant of its own"], Local(1))
    with distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=":0",
                                  silence_logs=True) as local:
        there = Timed(local.scheduler_address)
        away = Runs(made.space.case, "before", made.space, Store(None, {}), makers=there)
        seconds(away, 8)
        there.busy = 0.0
        here, far = seconds(made, 9), seconds(away, 9)
        there.close()
    tell(f"{RUNS} runs of 600 s by Dask, one worker",
         f"{far:.2f} s, {100.0 * there.busy / far:.1f} % of it making runs; here {here:.2f} s")
    assert 0.0 < there.busy < far


def test_time_to_go_on(tell: Tell, tmp_path: Path) -> None:
    """Of a campaign with many runs on disk."""
    points, store = random_points(1, 0, KEPT, 5), Store(tmp_path, {})
    begun = perf_counter()
    for first in range(0, KEPT, 100):
        store.put((p, Outcome(np.array([1.0, *p]))) for p in points[first:first + 100])
    put = perf_counter() - begun
    store.close()
    begun = perf_counter()
    again = Store(tmp_path, {})
    found = perf_counter() - begun
    assert again.found == KEPT
    again.close()
    size = (tmp_path / "runs.sqlite").stat().st_size
    tell(f"{KEPT} runs on disk", f"{put / KEPT * 1e6:.0f} µs to keep one, {size / KEPT:.0f} bytes "
                                 f"each, {found:.2f} s to find them again")
