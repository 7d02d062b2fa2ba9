"""Many runs of one strategy on threads: points of the cube in, distances to the limits out.

What does not change between runs is made once: the step, and where only setpoints move the
assembled plant. The kernel lets go of Python's lock, so runs go side by side; each is the same run
as alone, to the last bit, whatever the number of threads.
"""

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from math import ceil, pi

import numpy as np

from simfan.assemble import Assembled, assemble
from simfan.assemble.transmitter import span
from simfan.errors import ScenarioError
from simfan.history import Facts, History
from simfan.kernel import advance, layout
from simfan.kernel.layout import DONE
from simfan.metrics.distance import distances, requirements
from simfan.plant.case import Case
from simfan.scenario import written
from simfan.simulate import prepare, settled, simulate, with_procedures
from simfan.steady.balance import Rest, hold
from simfan.steady.pace import Pace, helmholtz
from simfan.steady.search import NoBalance
from simfan.steady.tables import carried, with_tables
from simfan.stress.space import Space
from simfan.stress.store import Outcome, Store
from simfan.stress_answer import STOPPED, Array
from simfan.timeline import Played

WRITTEN_EVERY = 1.0
"""Finished runs are written to disk this often [s], and at the end of a batch."""
CANNOT_RUN = (ScenarioError, NoBalance, ArithmeticError, np.linalg.LinAlgError)
"""What may keep a run of the space from starting."""

Told = Callable[[int, int], None]
"""Is called with the runs made since the start, and how many of them failed."""


@dataclass
class Same:
    """What all runs share."""

    case: Case
    strategy: str
    facts: Facts
    nominal: History
    assembled: Assembled | None
    """Where all runs have one plant."""


class Runs:
    """An `Evaluate` for one strategy's runs in a space."""

    def __init__(self, case: Case, strategy: str, space: Space, store: Store, threads: int = 1,
                 told: Told | None = None) -> None:
        self.space, self.store, self.threads, self.told = space, store, threads, told
        self.strategy = strategy
        self.same = _same(space, strategy)
        self.requirements = requirements(case.criteria, self.same.facts.max_safe_speed_ratio)
        self.made = self.failed = 0
        self._scratch = threading.local()
        self._starts: dict[float, Rest] = {}

    def __call__(self, points: Array) -> Array:
        """(n, m) distances of (n, d) points. What was run before is not run again."""
        points = np.ascontiguousarray(points, dtype=float)
        new = {p.tobytes(): p for p in points if self.store.get(p) is None}
        if new:
            self._run(list(new.values()))
        found = [self.store.get(p) for p in points]
        return np.array([o.distances for o in found if o is not None]).reshape(len(points), -1)

    def outcomes(self, points: Array) -> list[Outcome]:
        """Of points that were run."""
        return [o for p in points if (o := self.store.get(np.ascontiguousarray(p)))]

    def _run(self, points: Sequence[Array]) -> None:
        """On threads; what is finished when the user stops is kept."""
        with ThreadPoolExecutor(self.threads) as pool:
            left = {pool.submit(self.one, p): p for p in points}
            try:
                while left:
                    wait(left, timeout=WRITTEN_EVERY)
                    self._keep_finished(left)
            except BaseException:
                for future in left:
                    future.cancel()
                wait(left)
                self._keep_finished(left)
                raise

    def _keep_finished(self, left: dict[Future[Outcome], Array]) -> None:
        ready = {f: left.pop(f) for f in list(left) if f.done()}
        self._keep({f: p for f, p in ready.items() if not f.cancelled()})

    def _keep(self, ready: dict[Future[Outcome], Array]) -> None:
        found = [(p, future.result()) for future, p in ready.items()]
        self.store.put(found)
        self.made += len(found)
        self.failed += sum(bool(np.any(o.distances < 0.0)) for _, o in found)
        if self.told:
            self.told(self.made, self.failed)

    def one(self, point: Array) -> Outcome:
        """One run, judged."""
        try:
            return self._judged(self.space.case_of(self.space.values(point)))
        except CANNOT_RUN as why:
            return Outcome(np.full(len(self.requirements), STOPPED), why=str(why))

    def _judged(self, case: Case) -> Outcome:
        assembled, start = self._begun(case)
        played, plan, start, _, state = settled(case, assembled, start)
        traces = self._traces(assembled)
        if case.procedures:
            played, plan, code = with_procedures(case, assembled, state, traces)
        else:
            code = advance.advance(assembled.plant, plan, state, traces, assembled.plant.last_tick)
        if code != DONE:
            return Outcome(np.full(len(self.requirements), STOPPED), start.reached,
                           "it stopped on its numbers")
        history = replace(self.same.nominal, traces=traces._asdict(),
                          facts=_facts(self.same.facts, case, assembled, played))
        return Outcome(distances(history, case.criteria), start.reached)

    def _begun(self, case: Case) -> tuple[Assembled, Rest]:
        """The plant, and where it rests at the start."""
        wanted = float(case.run.first_setpoint)
        if self.same.assembled is None:
            assembled = _assembled(case, self.strategy)
            return assembled, hold(assembled, wanted)
        base = self.same.assembled.base
        setpoint = base.setpoint.copy()
        setpoint[:, 0] = wanted
        assembled = replace(self.same.assembled, base=base._replace(setpoint=setpoint))
        if wanted not in self._starts:
            self._starts[wanted] = hold(assembled, wanted)
        return assembled, self._starts[wanted]

    def _traces(self, assembled: Assembled) -> layout.Traces:
        """Memory for the samples of a run, one for each thread, used again."""
        if not hasattr(self._scratch, "traces"):
            self._scratch.traces = layout.traces(assembled.plant)
        return self._scratch.traces


def _same(space: Space, strategy: str) -> Same:
    """Choose the step, put it into the space, and run the nominal point."""
    going = common_pace(space, strategy)
    space.tables["run"] = space.tables["run"] | {
        "step": written.quantity(going.step, "time"),
        "record": written.quantity(going.record, "time")}
    case = space.case_of(space.values(space.nominal))
    history = simulate(case, strategy)
    once = _assembled(case, strategy) if space.one_plant else None
    return Same(case, strategy, history.facts, history, once)


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


def _assembled(case: Case, strategy: str) -> Assembled:
    """As `prepare` makes it where the case gives step and record."""
    scan, run = case.control.scan, case.run
    assert run.step and run.record
    first = with_tables(case, strategy, assemble(case, strategy, scan / 12.0, scan))
    return carried(first, assemble(case, strategy, run.step, run.record))


def _facts(facts: Facts, case: Case, assembled: Assembled, played: Played) -> Facts:
    """Those of the run that a distance rests on."""
    low, width = span(case)
    return replace(
        facts, changes=played.changes, procedures=played.procedures,
        natural_period_s=2.0 * pi / helmholtz(assembled),
        max_safe_speed_ratio=case.fan.max_safe_speed / case.fan.rated.speed,
        fan_map=replace(facts.fan_map, stall_flow=assembled.curve.stall_flow),
        tuning=dict(facts.tuning) | {"span_low": low, "span_high": low + width})
