"""Distances of a run from its limits, with what its transmitter's noise decides taken without it.

A setpoint change that noise decides says nothing of the loop, see `noise`; its overshoot and
settling are those of the same run without noise.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from simfan.history import History
from simfan.metrics.distance import DISTANCE, as_si, distances, requirements
from simfan.metrics.in_operation import in_operation
from simfan.metrics.noise import decided_by_noise
from simfan.metrics.tracking import tracking
from simfan.plant.case import Criteria
from simfan.stress_answer import Array, Requirement

ANSWERS = ("overshoot", "settling_time")
"""Requirements of the answers to setpoint changes."""


def of_the_loop(history: History, criteria: Criteria) -> Array:
    """(m,) as `distance.distances` of a complete run, noise left out where that decides."""
    asked = requirements(criteria, history.facts.max_safe_speed_ratio)
    return calmed(asked, distances(history, criteria), history, criteria)[0]


def broken(asked: Sequence[Requirement], room: Array) -> bool:
    """Whether an answer to a setpoint change is, so that noise may have decided."""
    return any(r.name in ANSWERS and value < 0.0 for r, value in zip(asked, room, strict=True))


def calmed(asked: Sequence[Requirement], room: Array, history: History, criteria: Criteria
           ) -> tuple[Array, float]:
    """((m,) distances, scatter of the true value [held unit]) of a run; as they were, and 0, where
    noise decides nothing. The run is made without noise only where it may have decided."""
    if history.without_noise is None or not broken(asked, room):
        return room, 0.0
    quiet = history.without_noise()
    answers = tracking(in_operation(history, criteria), criteria.band)
    scatters = decided_by_noise(answers, history, quiet, criteria)
    if not scatters:
        return room, 0.0
    pair = [in_operation(_only(run, set(scatters), among), criteria)
            for run, among in ((history, False), (quiet, True))]
    found = [min(DISTANCE[r.name](run, criteria, as_si(r)) for run in pair)
             if r.name in ANSWERS else value for r, value in zip(asked, room, strict=True)]
    return np.array(found), max(scatters.values())


def _only(run: History, places: set[int], among: bool) -> History:
    """The run with those setpoint changes alone that stand at these places, or at others."""
    changes = tuple(c for k, c in enumerate(run.facts.changes) if (k in places) is among)
    return replace(run, facts=replace(run.facts, changes=changes))
