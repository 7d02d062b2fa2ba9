"""A chunk of runs, wherever it is made: points of the cube in, outcomes out.

A thread, a process and a worker on another machine all call `outcomes`. What they need beside the
points is one `Shared`, which passes through pickle; each run is the same run as alone, to the last
bit.
"""

import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi

import numpy as np

from simfan.assemble import Assembled, assemble
from simfan.assemble.transmitter import span
from simfan.errors import ScenarioError
from simfan.history import Facts, History
from simfan.kernel import advance, layout
from simfan.kernel.layout import DONE
from simfan.metrics import uninterrupted
from simfan.metrics.along import Along
from simfan.metrics.distance import distances, requirements
from simfan.plant.case import Case
from simfan.protected import guarded
from simfan.simulate import settled, with_procedures
from simfan.steady.balance import Rest, hold
from simfan.steady.pace import helmholtz
from simfan.steady.search import NoBalance
from simfan.steady.tables import with_tables
from simfan.stress.noise import of_the_loop
from simfan.stress.space import Space
from simfan.stress.store import Outcome
from simfan.stress_answer import STOPPED, Array, Requirement
from simfan.timeline import Played

CANNOT_RUN = (ScenarioError, NoBalance, ArithmeticError, np.linalg.LinAlgError)
"""What may keep a run of the space from starting."""
PIECE = 8192
"""Samples that are judged at a time: as many as a run leaves in memory."""
_scratch = threading.local()


@dataclass(frozen=True)
class Shared:
    """What all runs of one strategy in a space have in common."""

    space: Space
    strategy: str
    blank: History
    """The nominal run without its samples."""
    assembled: Assembled | None
    """The plant, where all runs have the same."""

    @property
    def requirements(self) -> tuple[Requirement, ...]:
        """The columns of an outcome's distances."""
        return (*requirements(self.space.case.criteria, self.blank.facts.max_safe_speed_ratio),
                *uninterrupted.asked(self.space.case, self.strategy))


def outcomes(shared: Shared, points: Sequence[Array]) -> list[Outcome]:
    """The runs at these points (n, d), judged."""
    return [_one(shared, point) for point in points]


def _one(shared: Shared, point: Array) -> Outcome:
    try:
        case = shared.space.case_of(shared.space.values(point))
        return of_the_loop(shared.requirements, case, shared.strategy, _judged(shared, case))
    except CANNOT_RUN as why:
        return Outcome(np.full(len(shared.requirements), STOPPED), why=str(why))


def _judged(shared: Shared, case: Case) -> Outcome:
    assembled, start = _begun(shared, case)
    played, plan, start, _, state = settled(case, assembled, start)
    if pauses(case):
        return _judged_whole(shared, case, assembled, start, plan, state, played)
    facts = _facts(shared.blank.facts, case, assembled, played)
    blank = replace(shared.blank, facts=facts)
    plant, n = assembled.plant, samples(assembled.plant)
    along = Along(facts, case.criteria, plan.setpoint[:, 0], n)
    rows = n if facts.fan_map.stall_flow is None else piece_of(n)
    traces = _traces(plant, rows)
    for first in range(0, n, rows):
        last = min(first + rows, n)
        until = plant.last_tick if last == n else last * plant.record_steps
        if advance.advance(plant, plan, state, traces, until) != DONE:
            return Outcome(np.full(len(shared.requirements), STOPPED), start.reached,
                           "it stopped on its numbers")
        along.take(_piece(blank, traces, first, last, plant.record_steps * plant.step))
    return Outcome(along.distances(), start.reached)


def _judged_whole(shared: Shared, case: Case, assembled: Assembled, start: Rest,
                  plan: layout.Schedule, state: layout.State, played: Played) -> Outcome:
    """A run of which only a part is judged; which part, its end may tell."""
    plant = assembled.plant
    traces = _traces(plant, samples(plant))
    if case.procedures:
        played, plan, code = with_procedures(case, assembled, state, traces)
    else:
        code = int(advance.advance(plant, plan, state, traces, plant.last_tick))
    if code != DONE:
        return Outcome(np.full(len(shared.requirements), STOPPED), start.reached,
                       "it stopped on its numbers")
    facts = replace(_facts(shared.blank.facts, case, assembled, played),
                    protection=guarded(case, plant.step, state))
    blank = replace(shared.blank, facts=facts)
    history = _piece(blank, traces, 0, samples(plant), plant.record_steps * plant.step)
    return Outcome(np.append(distances(history, case.criteria),
                             uninterrupted.distances(history, case, shared.strategy)),
                   start.reached)


def pauses(case: Case) -> bool:
    """Whether the motor may be off, or a procedure hold the loop, in a part of the run."""
    return bool(case.procedures or case.run.from_standstill
                or any(row.effect == "trip" for row in case.protection)
                or any(event.motor for event in case.timeline))


def samples(plant: layout.Plant) -> int:
    """Of a whole run."""
    return plant.last_tick // plant.record_steps + 1


def piece_of(n: int) -> int:
    """How many of n samples are judged at a time. The run's last instant is recorded with the
    sample before it, so that one may not stand alone in its piece."""
    return n if n <= PIECE else next(rows for rows in range(PIECE, 0, -1) if (n - 1) % rows)


def _piece(blank: History, traces: layout.Traces, first: int, last: int, interval: float
           ) -> History:
    """Samples of a run from one on, up to another; the ring of traces begins with the first."""
    return replace(blank, time=np.arange(first, last) * interval,
                   traces={name: rows[:last - first] for name, rows in traces._asdict().items()})


def _begun(shared: Shared, case: Case) -> tuple[Assembled, Rest]:
    """The plant, and where it rests at the start."""
    wanted = float(case.run.first_setpoint)
    if shared.assembled is None:
        assembled = assembled_once(case, shared.strategy)
    else:
        base = shared.assembled.base
        setpoint = base.setpoint.copy()
        setpoint[:, 0] = wanted
        assembled = replace(shared.assembled, base=base._replace(setpoint=setpoint))
    return assembled, hold(assembled, wanted)


def _traces(plant: layout.Plant, rows: int) -> layout.Traces:
    """Memory for so many samples, one for each thread, used again."""
    like = (rows, plant.actuators.each.size, plant.loops.size)
    if getattr(_scratch, "like", None) != like:
        ring = plant._replace(last_tick=(rows - 1) * plant.record_steps)
        _scratch.like, _scratch.traces = like, layout.traces(ring)
    traces: layout.Traces = _scratch.traces
    return traces


def assembled_once(case: Case, strategy: str) -> Assembled:
    """As `prepare` makes it where the case gives step and record."""
    assert case.run.step and case.run.record
    return with_tables(case, strategy, assemble(case, strategy, case.run.step, case.run.record))


def _facts(facts: Facts, case: Case, assembled: Assembled, played: Played) -> Facts:
    """Those of the run that a distance rests on."""
    low, width = span(case)
    return replace(
        facts, changes=played.changes, procedures=played.procedures,
        natural_period_s=2.0 * pi / helmholtz(assembled),
        max_safe_speed_ratio=case.fan.max_safe_speed / case.fan.rated.speed,
        fan_map=replace(facts.fan_map, stall_flow=assembled.curve.stall_flow),
        tuning=dict(facts.tuning) | {"span_low": low, "span_high": low + width})
