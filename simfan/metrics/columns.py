"""A history as the folds want it: one column at a time, contiguous, finite."""

from dataclasses import replace

import numpy as np

from simfan.history import History

Array = np.ndarray
MAY_BE_NAN = "stall_flow"


def column(history: History, name: str, item: int = 0) -> Array:
    """A trace as a contiguous, writable float64 array: one type, so that a fold compiles once."""
    return np.array(history.trace(name, item), dtype=np.float64, order="C")


def clock(history: History) -> Array:
    """Sample times [s], contiguous float64."""
    return np.array(history.time, dtype=np.float64, order="C")


def computed(history: History) -> History:
    """The run up to its first sample that is not a number (nan is allowed where no line is)."""
    good = np.isfinite(history.time)
    for name, values in history.traces.items():
        if name != MAY_BE_NAN:
            good &= np.isfinite(values).all(axis=1)
    n = len(good) if good.all() else int(np.argmin(good))
    if n == len(history.time):
        return history
    return replace(history, time=history.time[:n],
                   traces={k: v[:n] for k, v in history.traces.items()})  # fmt: skip


def number(value: float) -> float | None:
    """A Python float, or None where it is not finite."""
    return float(value) if np.isfinite(value) else None
