"""Distances taken as a run goes are those of its whole history, to the last bit."""

from dataclasses import replace

import numpy as np
import pytest

from simfan import api
from simfan.history import History
from simfan.metrics.along import Along
from simfan.metrics.columns import column
from simfan.metrics.distance import distances
from simfan.plant.case import Case, Criteria
from simfan.simulate import simulate
from tests.plants import plain

EVERY = Criteria(time_outside_band=20.0, overshoot=0.1, settling_time=30.0, stall_margin=0.05,
                 surge_cycles=0, motor_load=1.0, speed=1.1, highest_pressure=5000.0,
                 lowest_pressure=-100.0)
MOVES = [{"at": 5.0, "setpoint": 36.0}, {"at": 20.0, "setpoint": 14.0, "over": 7.5},
         {"at": 60.0, "setpoint": 14.0}, {"at": 70.0, "setpoint": 40.0, "over": 10.0}]
CASES = {
    "steps and ramps, surge on the way": (plain(timeline=MOVES), "after"),
    "nothing to answer to": (plain(timeline=[]), "before"),
    "a change at the very end": (plain(timeline=[{"at": 119.75, "setpoint": 36.0}]), "speed"),
    "a pressure held": (api.load("scenarios/furnace-draft.toml"), None),
}


@pytest.fixture(scope="module")
def histories() -> dict[str, History]:
    return {what: simulate(case, name or next(iter(case.strategies)))
            for what, (case, name) in CASES.items()}


def in_pieces(history: History, criteria: Criteria, rows: int) -> np.ndarray:
    n = len(history.time)
    along = Along(history.facts, criteria, column(history, "setpoint"), n)
    for first in range(0, n, rows):
        part = slice(first, first + rows)
        along.take(replace(history, time=history.time[part],
                           traces={k: v[part] for k, v in history.traces.items()}))
    return along.distances()


@pytest.mark.parametrize("what", CASES)
@pytest.mark.parametrize("rows", [5, 100, 4096, 10**6])
def test_pieces_of_any_length_give_the_bits_of_the_whole(
        histories: dict[str, History], what: str, rows: int) -> None:
    case: Case = CASES[what][0]
    history = histories[what]
    for criteria in (EVERY, case.criteria, EVERY.model_copy(update={"settling_time": 200.0})):
        assert np.array_equal(in_pieces(history, criteria, rows), distances(history, criteria))


def test_the_cases_keep_and_miss_each_limit(histories: dict[str, History]) -> None:
    """Or the comparison above would not see what it compares."""
    found = np.array([distances(h, EVERY) for h in histories.values()])
    assert (found[:, :5] > 0.0).any(axis=0).all()
    assert (found[:, :5] < 0.0).any(axis=0).sum() >= 4
