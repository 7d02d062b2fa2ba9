"""A history as the folds want it: block by block, one column at a time, contiguous, finite.

A fold goes on from its state, so the blocks give the bits of the whole; what is at work at one time
does not grow with the length of the history.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from simfan.history import Facts, Happening, History

Array = np.ndarray
MAY_BE_NAN = "stall_flow"
BLOCK = 1 << 16
"""Samples that are at work at one time."""


class Run(Protocol):
    """What is judged: a history, or one whose samples are made as they are asked for."""

    @property
    def time(self) -> Array:
        """(n_samples,) [s], rising."""

    @property
    def items(self) -> Mapping[str, tuple[str, ...]]:
        """As a history's."""

    @property
    def log(self) -> tuple[Happening, ...]:
        """As a history's."""

    @property
    def facts(self) -> Facts:
        """As a history's."""

    def rows(self, part: slice) -> History:
        """Some of its samples."""

    def trace(self, name: str, item: str | int = 0) -> Array:
        """One column of a trace, of all samples."""


def blocks(run: Run, part: slice = slice(None)) -> Iterator[History]:
    """The samples of a run, or of a part of it, one block after the other."""
    first, end, _ = part.indices(len(run.time))
    return (run.rows(slice(k, min(k + BLOCK, end))) for k in range(first, end, BLOCK))


@dataclass
class Folded:
    """A fold of `measures` on its way over blocks."""

    fold: Any
    """Its module."""
    state: Any
    before: float | None = None
    """Time of the last sample taken [s]."""

    def take(self, time: Array, *columns: Array) -> None:
        """The next samples, one at least."""
        before = time[0] if self.before is None else self.before
        self.state = self.fold.over(self.state, before, time, *columns)
        self.before = time[-1]

    def result(self) -> Any:
        """As far as seen."""
        return self.fold.result(self.state)


def column(history: History, name: str, item: int = 0) -> Array:
    """A trace as a contiguous, writable float64 array: one type, so that a fold compiles once."""
    return np.array(history.trace(name, item), dtype=np.float64, order="C")


def clock(history: History) -> Array:
    """Sample times [s], contiguous float64."""
    return np.array(history.time, dtype=np.float64, order="C")


def shortest(time: Array) -> float:
    """Shortest time between two samples [s]."""
    return min(float(np.diff(time[k:k + BLOCK + 1]).min())
               for k in range(0, len(time) - 1, BLOCK))


def computed(history: History) -> History:
    """The run up to its first sample that is not a number (nan is allowed where no line is)."""
    good = np.isfinite(history.time)
    for name, values in history.traces.items():
        if name != MAY_BE_NAN:
            good &= np.isfinite(values).all(axis=1)
    n = len(good) if good.all() else int(np.argmin(good))
    return history if n == len(history.time) else history.rows(slice(n))


def number(value: float) -> float | None:
    """A Python float, or None where it is not finite."""
    return float(value) if np.isfinite(value) else None
