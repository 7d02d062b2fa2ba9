"""Every point that was run, in order, within a budget of runs and seconds."""

from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

import numpy as np

from simfan.stress_answer import Trail

Array = np.ndarray
Evaluate = Callable[[Array], Array]
"""Points of the unit cube (n, d) → signed distances to the limits (n, m): above 0 there is room,
below 0 the requirement is broken."""
ALIKE = 12
"""Points that agree to so many decimals are one."""


@dataclass(frozen=True)
class Budget:
    """When a search ends, whichever comes first."""

    runs: int
    seconds: float | None = None
    """[s]; None for no end in time."""


class Spent(Exception):
    """The budget is used up. What was run stands in the tally."""


class Tally:
    """An `Evaluate` that remembers, and raises Spent before it would go over its budget."""

    def __init__(self, evaluate: Evaluate, budget: Budget, clock: Callable[[], float] = monotonic,
                 known: Trail | None = None) -> None:
        """`known` are runs made before; they are not counted."""
        self.evaluate, self.budget, self.clock = evaluate, budget, clock
        self.started = clock()
        self.allowed = budget.runs
        self.runs = 0
        self._points: list[Array] = []
        self._known: dict[bytes, Array] = {}
        if known is not None and len(known.points):
            first = {_key(point): k for k, point in reversed(list(enumerate(known.points)))}
            rows = sorted(first.values())
            self._points.append(known.points[rows])
            self._known.update({_key(known.points[k]): known.distances[k] for k in rows})

    def __call__(self, points: Array) -> Array:
        """(n, m) distances of (n, d) points, which are put back into the cube first. A point that
        was run before is not run again."""
        points = np.clip(np.atleast_2d(points), 0.0, 1.0)
        keys = [_key(point) for point in points]
        fresh = {key: k for k, key in enumerate(keys) if key not in self._known}
        if self.runs + len(fresh) > self.allowed or (self.late and self.runs):
            raise Spent
        if fresh:
            self._run(list(fresh), points[list(fresh.values())])
        return np.array([self._known[key] for key in keys])

    def _run(self, keys: list[bytes], points: Array) -> None:
        distances = np.asarray(self.evaluate(points), dtype=float)
        self._known.update(zip(keys, distances, strict=True))
        self._points.append(points)
        self.runs += len(points)

    @property
    def late(self) -> bool:
        """Whether its time is over."""
        seconds = self.budget.seconds
        return seconds is not None and self.clock() - self.started >= seconds

    @property
    def left(self) -> int:
        """Runs that may still be made."""
        return self.budget.runs - self.runs

    def allow(self, runs: int) -> None:
        """Raise Spent after so many runs more, or at the end of the budget."""
        self.allowed = min(self.runs + runs, self.budget.runs)

    def trail(self) -> Trail:
        """What was run up to now. Raises ValueError before the first run."""
        return Trail(np.vstack(self._points), np.array(list(self._known.values())))


def _key(point: Array) -> bytes:
    return bytes((point.round(ALIKE) + 0.0).tobytes())
