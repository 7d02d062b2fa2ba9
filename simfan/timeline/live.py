"""Events and procedures in step with the plant: the kernel advances to the next instant that
anybody waits for, then what happens there turns the dials for all that follows."""

from math import ceil

import numpy as np
import simpy

from simfan.assemble import Assembled
from simfan.assemble.schedule import schedule
from simfan.kernel.layout import Schedule, State, Traces
from simfan.plant.case import Case
from simfan.plant.events import Event
from simfan.plant.procedure import RunBack
from simfan.plant.procedure_steps import Step
from simfan.timeline.operator import Procedure, Steps
from simfan.timeline.play import happen
from simfan.timeline.seen import Seen
from simfan.timeline.stage import Played, Stage
from simfan.timeline.starts import Starts
from simfan.units import show


class Live:
    """The timeline of a case with procedures, for one strategy's run."""

    def __init__(self, case: Case, assembled: Assembled, state: State, traces: Traces) -> None:
        assert case.procedures
        self.case, self.assembled = case, assembled
        self.stage, self.seen = Stage(case), Seen(assembled, state, traces)
        self.env = self.stage.env
        runs = self.stage.dials["motor"].now > 0.0
        self.starts = Starts(case.motor, 0.0 if runs else None)
        self.steps = case.procedure_steps
        self.under_way: simpy.Process | None = None
        self.procedure: Procedure | None = None
        self.plan = self._planned()
        for event in case.timeline:
            self.env.process(self._happen(event))
        if case.procedures.restart:
            self.env.process(self._watch_trips(case.procedures.restart.attempts))
        for number, row in enumerate(case.procedures.run_back, start=1):
            self.env.process(self._watch(row, f"run-back {number}"))

    @property
    def next_scan(self) -> int:
        """At which something happens or somebody looks; the last of the run where nobody does."""
        return int(min(self.env.peek(), self.stage.n_scans - 1))

    def happen(self) -> None:
        """All of this instant; the plan is made anew where a dial was turned."""
        scan = self.next_scan
        self.seen.look(self.plan)
        if self.seen.powered:
            self.starts.runs(self.stage.now)
        while self.env.peek() == scan:
            self.env.step()
        if any(dial.turned for dial in self.stage.dials.values()):
            self.plan = self._planned()

    def finished(self) -> Played:
        """What was played up to the end of the run."""
        if self.procedure and self.under_way and self.under_way.is_alive:
            self.procedure.left_off()
        return self.stage.played()

    def _planned(self) -> Schedule:
        for dial in self.stage.dials.values():
            dial.turned = False
        return schedule(self.assembled, self.case,
                        {name: dial.values for name, dial in self.stage.dials.items()})

    def _happen(self, event: Event) -> Steps:
        if event.procedure is None:
            yield from happen(self.stage, event)
            if event.motor == "restart" and self.seen.on_line:
                self._started_by_hand()
            return
        yield self.env.timeout(self.stage.scans(event.at))
        self._begin(event.procedure, event.because)

    def _begin(self, name: str, because: str = "") -> None:
        """One procedure at a time: the later one takes over. A start of a motor that runs is none:
        it would take a loop in automatic to the output of a start."""
        if name == "start" and self.stage.dials["motor"].now > 0.0 and not self.seen.tripped:
            self.stage.tell("start refused: the motor runs already", "refused")
            return
        if self.under_way is not None and self.under_way.is_alive:
            self.under_way.interrupt(f"{name} takes over")
        procedure = Procedure(self.stage, self.seen, self.starts, name)
        self.procedure = procedure
        self.under_way = self.env.process(procedure.carried_out(self.steps[name], because))

    def _started_by_hand(self) -> None:
        """An event that starts the motor asks nobody; it is counted, and told."""
        if refused := self.starts.refused(self.stage.now):
            self.stage.tell(f"warning: this start is not permitted: {refused}")
        self.starts.count(self.stage.now)

    def _watch_trips(self, attempts: int) -> Steps:
        """A restart after each of so many trips of a motor that was on."""
        for left in range(attempts, -1, -1):
            while not self._tripped_while_on():
                yield self.env.timeout(1)
            if not left:
                self.stage.tell("tripped again: no further restart")
                return
            yield self.env.timeout(1)
            self._begin("restart", "after a trip")
            while self.seen.tripped:
                yield self.env.timeout(1)

    def _tripped_while_on(self) -> bool:
        """Not where the motor was switched off, or is about to be."""
        stopping = (self.procedure is not None and self.procedure.name == "stop"
                    and self.under_way is not None and self.under_way.is_alive)
        return (self.seen.tripped and self.stage.dials["motor"].now > 0.0 and not stopping)

    def _watch(self, row: RunBack, name: str) -> Steps:
        """A run-back whenever its condition has lasted, anew after it was gone."""
        step = self.steps[name][0]
        while True:
            lasted = 0
            while not (self._holds(row) and lasted >= ceil(row.after / self.stage.scan - 1e-9)):
                lasted = lasted + 1 if self._holds(row) else 0
                yield self.env.timeout(1)
            self._run_back(row, name, step)
            while self._holds(row):
                yield self.env.timeout(1)

    def _run_back(self, row: RunBack, name: str, step: Step) -> None:
        """Only ever to less flow: a pressure that more flow takes down goes up."""
        sign = 1.0 if self.seen.raises else -1.0
        beyond = sign * self.stage.dials["setpoint"].now > sign * step.to
        change = self.stage.setpoint_back(step.to, step.over, sign)
        aim = show(step.to, self.case.control.held_kind, digits=4)
        side = "above" if self.seen.raises else "below"
        if change is None:
            there = f"on its way to {aim}" if beyond else f"not {side} {aim}"
            words = f"setpoint left as it is, {there} already"
        else:
            goes_to = beyond and change.end == step.to
            words = step.words if goes_to else f"setpoint kept from going {side} {aim}"
        self.stage.tell(f"{name}: {words} ({row.words})", "run-back" if change else "")

    def _holds(self, row: RunBack) -> bool:
        """Whether its condition holds now, with the motor running and the loop in automatic."""
        value = {"load": self.seen.load, "stall_margin": self.seen.stall_margin,
                 "pressure": self.seen.pressure}[row.cause.rpartition("_")[0]]
        if value is None or not self.seen.powered or self.seen.held:
            return False
        if not np.isnan(self.stage.dials["manual"].now):
            return False
        return value > row.limit if row.cause.endswith("above") else value < row.limit
