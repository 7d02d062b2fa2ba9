"""Runs per second of a search on one core and on two, where their time goes, and how much memory a
run takes while it is made and after."""

import tracemalloc
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from time import perf_counter, process_time, thread_time
from typing import Any

import numpy as np
import pytest

from simfan import simulate
from simfan.kernel import advance
from simfan.metrics.along import Along
from simfan.plant.case import Case
from simfan.stress import chunk
from simfan.stress.chunk import Shared
from simfan.stress.local import Found, Local
from simfan.stress.runs import Makers, Runs
from simfan.stress.space import Space, random_points
from simfan.stress.store import Outcome, Store
from simfan.stress_answer import Array
from tests.benchmarks.conftest import Tell
from tests.plants import plain

pytestmark = pytest.mark.benchmark

MOVES = {"from": [36.0, 45.0], "to": [36.0, 45.0], "over": [0.0, 60.0], "at": 30.0}
VARY = [{"of": "process.design.pressure", "plus_minus": 0.05}]
SPACES: dict[str, dict[str, object]] = {
    "moves of one plant": {"moves": MOVES}, "a plant of its own": {"moves": MOVES, "vary": VARY}}
RUNS = 100


def runs(space: dict[str, object], makers: Makers, duration: float = 600.0) -> Runs:
    """With everything loaded and compiled that makes them."""
    case: Case = plain(run={"duration": duration, "starts_at": 45.0}, stress=space)
    made = Runs(case, "before", Space(case, "before"), Store(None, {}), makers=makers)
    for first in (0, 4):
        made(random_points(1, first, 4, len(made.space.inputs)))
    return made


@pytest.mark.parametrize("what", SPACES)
def test_runs_a_second(what: str, tell: Tell) -> None:
    """By the clock, which others on the machine slow down, and by processor time of a run."""
    rates, costs = [], []
    for cores in (1, 2):
        makers = Local(cores, pays=0.0)
        made = runs(SPACES[what], makers)
        points = random_points(2, 0, RUNS, len(made.space.inputs))
        begun, spent = perf_counter(), process_time()
        made(points)
        rates.append(RUNS / (perf_counter() - begun))
        costs.append((process_time() - spent) / RUNS * 1e3)
        makers.close()
    tell(f"runs of 600 s, {what}", f"{rates[0]:5.1f} a second on one core, {rates[1]:5.1f} on two "
                                   f"({rates[1] / rates[0]:.2f} x)")
    tell(f"  processor time here, {what}", f"{costs[0]:.1f} ms a run on one core, "
                                           f"{costs[1]:.1f} ms of this one of two")
    assert min(rates) > 0.0


def timed(spent: dict[str, float], name: str, work: Callable[..., Any]) -> Callable[..., Any]:
    def wrapped(*given: Any, **named: Any) -> Any:
        begun = thread_time()
        try:
            return work(*given, **named)
        finally:
            spent[name] += thread_time() - begun

    return wrapped


@pytest.mark.parametrize("what", SPACES)
def test_where_the_time_of_a_run_goes(what: str, tell: Tell, monkeypatch: pytest.MonkeyPatch
                                      ) -> None:
    made, spent = runs(SPACES[what], Local(1)), defaultdict[str, float](float)
    for where, name in ((chunk, "hold"), (chunk, "assembled_once"), (advance, "advance"),
                        (simulate, "play"), (simulate, "is_stable")):
        monkeypatch.setattr(where, name, timed(spent, name, getattr(where, name)))
    monkeypatch.setattr(Along, "take", timed(spent, "judge", Along.take))
    begun = thread_time()
    chunk.outcomes(made.shared, list(random_points(2, 0, 40, len(made.space.inputs))))
    whole = thread_time() - begun
    shares = ", ".join(f"{name} {100.0 * seconds / whole:.0f} %" for name, seconds in spent.items())
    tell(f"shares of a run, {what}", f"{shares} of {whole / 40 * 1e3:.1f} ms of processor")
    assert whole > 0.0


@pytest.mark.parametrize("duration", [600.0, 6000.0])
def test_samples_of_a_run_are_judged_and_forgotten(duration: float, tell: Tell) -> None:
    """What grows with the run is its schedule, 1.4 kB a second; samples, kept, would be 5.8 kB."""
    made = runs({"moves": MOVES}, Local(1), duration)
    tracemalloc.start()
    made(random_points(3, 0, 2, len(made.space.inputs)))
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    tell(f"peak memory of a run of {duration:g} s", f"{peak:.1f} MB")
    assert peak < 2.5 + duration * 2e-3


class Pretended:
    """Outcomes without runs, so that only what is kept of each is measured."""

    def outcomes(self, shared: Shared, points: Sequence[Array]) -> Iterator[Found]:
        """At once, a hundred to a chunk."""
        for first in range(0, len(points), 100):
            yield [(p, Outcome(np.full(len(shared.requirements), p[0])))
                   for p in points[first:first + 100]]

    def close(self) -> None:
        """Nothing is held."""


def test_memory_of_many_runs(tell: Tell) -> None:
    """What is kept of each: a thousand of 20 s, made; then a thousand and a hundred thousand
    pretended, since making so many takes an hour."""
    peaks = {}
    for kind, number, makers in (("real", 1000, Local(1)), ("pretended", 1000, Pretended()),
                                 ("pretended", 100_000, Pretended())):
        made = runs({"moves": MOVES | {"at": 5.0, "over": [0.0, 10.0]}}, makers, 20.0)
        points = np.random.default_rng(3).random((number, len(made.space.inputs)))
        tracemalloc.start()
        for first in range(0, number, 1000):
            made(points[first:first + 1000])
        peaks[kind, number] = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
    tell("peak memory of many runs", ", ".join(f"{number} {kind}: {peak:.1f} MB"
                                               for (kind, number), peak in peaks.items()))
    kept = (peaks["pretended", 100_000] - peaks["pretended", 1000]) / 99_000
    assert kept < 1.5e-3
