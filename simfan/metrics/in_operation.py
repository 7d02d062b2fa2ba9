"""The part of a run that is judged as operation: the motor on, the loop released.

While a fan runs up or down its loop holds nothing, its stall line tells nothing, and a motor on the
line takes a multiple of its load; a start is judged by the heat of the rotor instead. What stalls
or surges then is no excursion of the control strategy: it is counted, but apart.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from simfan.history import Carried, Facts, Happening, History
from simfan.metrics.columns import Array, Run, blocks
from simfan.plant.case import Criteria

JUDGED, OFF, STARTING = 0, 1, 2
WHEN = {OFF: "while the motor was off", STARTING: "during a start or a stop"}
"""In which part of a run a sample lies, and how the others are called."""


def in_operation(history: History, criteria: Criteria) -> History:
    """The same run with what start, stop and trip do taken out: no stall line, no motor load; while
    a procedure holds the loop, no error of it."""
    judged = phases(history, criteria).of(history) == JUDGED
    run = only(history, judged)
    if not history.facts.procedures:
        return run
    setpoint = history.traces["setpoint"].copy()
    setpoint[~judged] = history.traces["true_value"][~judged]
    return replace(run, traces={**run.traces, "setpoint": setpoint})


def only(history: History, inside: Array) -> History:
    """The run with a stall line and a motor load only there."""
    if inside.all():
        return history
    stall, load = history.traces["stall_flow"].copy(), history.traces["motor_load"].copy()
    stall[~inside], load[~inside] = np.nan, 0.0
    return replace(history, traces={**history.traces, "stall_flow": stall, "motor_load": load})


@dataclass(frozen=True)
class Phases:
    """In which part of a run a sample lies: JUDGED, OFF where a motor is without supply, or
    STARTING: while a procedure holds the loop, and for `bypass_at_start` after a motor is switched
    on.

    A motor on its supply draws power at any load; where a run never tells power, it counts as on,
    and where a sample is missing, too: it hides nothing.
    """

    tells_power: bool
    starting: tuple[tuple[float, float], ...]
    """Spans of STARTING [s]."""

    def of(self, block: History) -> Array:
        """(n_samples,) of the block."""
        time, on = block.time, self.on(block)
        found = np.where(on, JUDGED, OFF)
        for begin, end in self.starting:
            if begin <= time[-1] and end > time[0]:
                found[on & (time >= begin) & (time < end)] = STARTING
        return found

    def on(self, block: History) -> Array:
        """(n_samples,) whether every motor has its supply."""
        power = block.traces["electrical_power"]
        return ~np.any(power <= 0.0, axis=1) if self.tells_power else np.full(len(power), True)


def phases(run: Run, criteria: Criteria) -> Phases:
    """The parts of a run."""
    tells = bool(run.facts.procedures) or any(
        np.any(block.traces["electrical_power"] > 0.0) for block in blocks(run))
    bare = Phases(tells, ())
    return Phases(tells, (*_held(run.facts), *_bypassed(run, bare, criteria.bypass_at_start)))


@dataclass(frozen=True)
class Part:
    """A run with a stall line and a motor load only in one part of it."""

    run: Run
    phases: Phases
    number: int
    """Which part."""

    @property
    def time(self) -> Array:
        """Of the whole run [s]."""
        return self.run.time

    @property
    def items(self) -> Mapping[str, tuple[str, ...]]:
        """Of the run."""
        return self.run.items

    @property
    def log(self) -> tuple[Happening, ...]:
        """Of the run."""
        return self.run.log

    @property
    def facts(self) -> Facts:
        """Of the run."""
        return self.run.facts

    def rows(self, part: slice) -> History:
        """Some of its samples."""
        block = self.run.rows(part)
        return only(block, self.inside(block))

    def trace(self, name: str, item: str | int = 0) -> Array:
        """One column of a trace, as the run has it."""
        return self.run.trace(name, item)

    def inside(self, block: History) -> Array:
        """(n_samples,) whether a sample lies in it."""
        return self.phases.of(block) == self.number


def _held(facts: Facts) -> list[tuple[float, float]]:
    """Spans in which a procedure holds the loop [s]."""
    return [(carried.begun_s, _released(carried)) for carried in facts.procedures]


def _released(carried: Carried) -> float:
    """When the loop is free again [s]."""
    if carried.released_s is not None:
        return carried.released_s
    return float("inf") if carried.ended_s is None else carried.ended_s


def _bypassed(run: Run, bare: Phases, lasts: float | None) -> Iterator[tuple[float, float]]:
    """Spans after each switching on [s]."""
    if not lasts:
        return
    was_on = True
    for block in blocks(run):
        on = bare.on(block)
        for t in block.time[on & ~np.concatenate([[was_on], on[:-1]])]:
            yield float(t), float(t) + lasts
        was_on = bool(on[-1])
