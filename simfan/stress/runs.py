"""Many runs of one strategy: points of the cube in, distances to the limits out.

What does not change between runs is made once: the step, and where only setpoints move the
assembled plant. Each run is the same run as alone, to the last bit, whoever makes it.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from math import ceil
from typing import Protocol

import numpy as np

from simfan.history import History
from simfan.plant.case import Case
from simfan.scenario import written
from simfan.simulate import prepare, simulate
from simfan.steady.pace import Pace
from simfan.stress.chunk import Shared, assembled_once
from simfan.stress.local import Found, Local
from simfan.stress.space import Space
from simfan.stress.store import Outcome, Store
from simfan.stress_answer import Array

Told = Callable[[int, int], None]
"""Is called with the runs made since the start, and how many of them failed."""


class Makers(Protocol):
    """Whoever makes the runs: this machine, or the workers of a cluster."""

    def outcomes(self, shared: Shared, points: Sequence[Array]) -> Iterator[Found]:
        """The runs at these points, by chunks as they come."""

    def close(self) -> None:
        """Let go of what they hold."""


class Runs:
    """An `Evaluate` for one strategy's runs in a space."""

    def __init__(self, case: Case, strategy: str, space: Space, store: Store, threads: int = 1,
                 told: Told | None = None, makers: Makers | None = None) -> None:
        self.space, self.store, self.told = space, store, told
        self.makers = makers or Local(threads)
        self.nominal, self.shared = _nominal(space, strategy)
        self.requirements = self.shared.requirements
        self.made = self.failed = 0

    def __call__(self, points: Array) -> Array:
        """(n, m) distances of (n, d) points. What was run before is not run again."""
        points = np.ascontiguousarray(points, dtype=float)
        new = {p.tobytes(): p for p in points if self.store.get(p) is None}
        if new:
            for found in self.makers.outcomes(self.shared, list(new.values())):
                self._keep(found)
        return np.array([o.distances for o in self.outcomes(points)]).reshape(len(points), -1)

    def outcomes(self, points: Array) -> list[Outcome]:
        """Of points that were run."""
        return [o for p in points if (o := self.store.get(np.ascontiguousarray(p)))]

    def _keep(self, found: Found) -> None:
        self.store.put(found)
        self.made += len(found)
        self.failed += sum(bool(np.any(o.distances < 0.0)) for _, o in found)
        if self.told:
            self.told(self.made, self.failed)


def _nominal(space: Space, strategy: str) -> tuple[History, Shared]:
    """Choose the step, put it into the space, and run the nominal point."""
    going = common_pace(space, strategy)
    space.tables["run"] = space.tables["run"] | {
        "step": written.quantity(going.step, "time"),
        "record": written.quantity(going.record, "time")}
    case = space.case_of(space.values(space.nominal))
    nominal = simulate(case, strategy)
    once = assembled_once(case, strategy) if space.one_plant else None
    return nominal, Shared(space, strategy, replace(nominal, traces={}, without_noise=None), once)


def common_pace(space: Space, strategy: str) -> Pace:
    """The finest step and record interval that the nominal point or any end of any input wants,
    each rounded to whole parts."""
    corners = [space.nominal]
    for place in range(len(space.inputs)):
        for end in (0.0, 1.0):
            corners.append(np.where(np.arange(len(space.inputs)) == place, end, space.nominal))
    found = [prepare(space.case_of(space.values(corner)), strategy)[1]
             for corner in (corners if not space.one_plant else _widest(space))]
    step, record = min(p.step for p in found), min(p.record for p in found)
    return Pace(record / ceil(record / step - 1e-9), record, min(p.fastest for p in found))


def _widest(space: Space) -> list[Array]:
    """With one plant: the moves between the ends of the range."""
    return [np.array(corner) for corner in
            (np.zeros(len(space.inputs)), np.ones(len(space.inputs)))]
