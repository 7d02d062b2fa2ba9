"""Every fold of `simfan.measures` with parameters and signals to try it on: one registry."""

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from simfan.measures import (
    change,
    compressibility,
    energy,
    episodes,
    margin,
    surge,
    tracking,
    travel,
)

STEP = 0.05


class Case(NamedTuple):
    """One fold, ready to run over signals made from (time, rough flow)."""

    fold: Any
    params: tuple[Any, ...]
    signals: Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, ...]]


def _line(flow: np.ndarray) -> np.ndarray:
    """A stall line at 29, with a stretch that has none."""
    line = np.full_like(flow, 29.0)
    line[len(line) // 3 : len(line) // 2] = np.nan
    return line


CASES = {
    "tracking": Case(
        tracking, (tracking.Params(0.0, 0.05),), lambda t, q: (np.full_like(q, 30.0), q)
    ),
    "change": Case(change, (change.Params(0.0, 36.0, 27.0, 0.05, 0.3),), lambda t, q: (q,)),
    "travel": Case(travel, (travel.Params(0.5, 20.0, 38.0, 0.1),), lambda t, q: (q,)),
    "energy": Case(energy, (), lambda t, q: (4.0 * q, 5.0 * q, q)),
    "compressibility": Case(
        compressibility, (compressibility.Params(101325.0, 1.4),),
        lambda t, q: (q - 20.0, 100.0 * q, 4000.0 * q),
    ),
    "margin": Case(margin, (), lambda t, q: (q, _line(q))),
    "episodes": Case(episodes, (episodes.Params(0.2, 5),), lambda t, q: (_line(q) - q,)),
    "surge": Case(
        surge, (surge.Params(2.9, 2.0, 0.2, 42, 3),), lambda t, q: (q, _line(q), 100.0 * q)
    ),
}  # fmt: skip


def run(case: Case, time: np.ndarray, flow: np.ndarray, cuts: tuple[int, ...] = ()) -> Any:
    """The fold's result, with the samples handed over in pieces."""
    arrays = case.signals(time, flow)
    state, before = case.fold.start(*case.params), time[0]
    for first, past in zip((0, *cuts), (*cuts, len(time)), strict=True):
        piece = [np.ascontiguousarray(a[first:past]) for a in arrays]
        state = case.fold.over(state, before, time[first:past], *piece)
        before = time[past - 1] if past > first else before
    return case.fold.result(state)


def bits(result: Any) -> bytes:
    """Every number of a result, to the last bit."""
    return b"".join(np.asarray(value, dtype=float).tobytes() for value in result)


def rough(seed: int, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Time and a noisy flow that swings about the line."""
    noise = np.random.default_rng(seed)
    time = STEP * np.arange(n)
    flow = 27.0 + 14.0 * np.sin(5.0 * time) + noise.normal(0.0, 1.5, n)
    return time, flow


if __name__ == "__main__":
    for name, each in CASES.items():
        print(name, bits(run(each, *rough(7, 600))).hex())
