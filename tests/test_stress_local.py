"""Runs on several cores: other processes make the same bits, and none is lost with one of them."""

import numpy as np
import pytest

from simfan.plant.case import Case
from simfan.stress.chunk import PIECE, piece_of
from simfan.stress.local import Local
from simfan.stress.runs import Runs
from simfan.stress.space import Space, random_points
from simfan.stress.store import Store
from simfan.stress.worker import Worker
from tests.plants import plain

SPACE = {"moves": {"from": [36.0, 45.0], "to": [36.0, 45.0], "over": [0.0, 20.0], "at": 10.0},
         "vary": [{"of": "process.design.pressure", "plus_minus": 0.05}]}


def runs(makers: Local) -> Runs:
    case: Case = plain(run={"duration": 60.0, "starts_at": 45.0}, stress=SPACE)
    return Runs(case, "before", Space(case, "before"), Store(None, {}), makers=makers)


@pytest.fixture(scope="module")
def alone() -> Runs:
    """With its runs at the points below."""
    made = runs(Local(1))
    made(points(made))
    return made


def points(of: Runs) -> np.ndarray:
    return random_points(3, 0, 12, len(of.space.inputs))


def test_another_process_makes_the_same_bits(alone: Runs) -> None:
    made = runs(Local(2, pays=0.0))
    try:
        made(points(made)[:2])
        found = made(points(made))
        assert len(made.makers.workers) == 1  # type: ignore[attr-defined]
    finally:
        made.makers.close()
    assert np.array_equal(found, alone(points(alone)))


def test_few_runs_start_no_process(alone: Runs) -> None:
    made = runs(Local(2, pays=1e9))
    assert np.array_equal(made(points(made)), alone(points(alone)))
    assert not made.makers.workers  # type: ignore[attr-defined]


def test_a_process_that_was_killed_loses_no_run(alone: Runs) -> None:
    """What it was asked for is made here, and it is not asked again."""
    worker = Worker()
    worker._process.kill()
    worker._process.wait()
    made, _ = worker.make(alone.shared, list(points(alone)[:3]))
    worker.close()
    expected = alone(points(alone)[:3])
    assert np.array_equal([o.distances for o in made], expected)


def test_what_cannot_run_comes_back_as_what_it_is(alone: Runs) -> None:
    """Of a plant of its own too: reason and distances are those made here."""
    worker = Worker()
    try:
        with pytest.raises(ValueError, match="zip"):
            worker.make(alone.shared, [np.zeros(1)])
        made, _ = worker.make(alone.shared, list(points(alone)[:1]))
    finally:
        worker.close()
    assert np.array_equal(made[0].distances, alone(points(alone)[:1])[0])


@pytest.mark.parametrize("n", [1, PIECE, PIECE + 1, 2 * PIECE + 1, PIECE * (PIECE - 1) + 1])
def test_the_last_sample_never_stands_alone_in_its_piece(n: int) -> None:
    """The kernel records the last instant with the sample before it, in one ring."""
    assert 1 <= piece_of(n) <= max(PIECE, 1)
    assert n == 1 or (n - 1) % piece_of(n) != 0


def test_pieces_shorter_than_the_run_change_no_bit(
        alone: Runs, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("simfan.stress.chunk.PIECE", 100)
    made = runs(Local(1))
    assert np.array_equal(made(points(made)), alone(points(alone)))
