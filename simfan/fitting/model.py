"""The simulated plant under a recorded setpoint or controller output: numbers in, samples out.

Pace, tables and the recorded inputs are prepared once; a run of the model reads the changed tables,
assembles the plant and goes through it, some tens of milliseconds.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from math import ceil
from typing import Any

import numpy as np
from pydantic import ValidationError

from simfan.assemble import Assembled, assemble
from simfan.assemble.ductwork import AMBIENT, VOLUME
from simfan.assemble.schedule import schedule
from simfan.errors import RunError, ScenarioError
from simfan.fitting.numbers import Number, with_values
from simfan.fitting.record import ELEMENT, VOLUME_PRESSURE, Record
from simfan.kernel import advance, layout
from simfan.kernel.layout import DONE, Schedule, Traces
from simfan.plant.case import Case
from simfan.plant.quantities import FROM_FILE
from simfan.scenario import written
from simfan.scenario.sentences import problems
from simfan.simulate import prepare
from simfan.steady.balance import Rest, hold, rest_near, settle, starting_state
from simfan.steady.search import NoBalance
from simfan.steady.tables import carried, with_tables
from simfan.timeline import play

Array = np.ndarray
Values = Sequence[float] | Array
"""Of every number [SI]."""

OUTPUT, SETPOINT = "controller output", "setpoint"
NOT_OF_A_TREND = ("stress", "protection", "timeline", "year", "days", "criteria",
                  "trend", "tags")
"""Tables of a scenario that its plant does not feel, or that a trend takes the place of."""
ON_THE_OUTPUT = ("controller", "overrides", "feedforward", "stall_floor")
"""What makes an output, or has a say in it: with a recorded one it has spoken."""
FINER = 0.7
"""A step is too long once the changed plant asks for less than so much of it."""
CANNOT_RUN = (ScenarioError, NoBalance, ArithmeticError, np.linalg.LinAlgError)


class Unable(Exception):
    """These numbers make no run; the reason in words."""


@dataclass(frozen=True)
class Ran:
    """One run of the model."""

    samples: tuple[Array, ...]
    """Of each compared series, at its times [SI]."""
    traces: Traces
    time: Array
    assembled: Assembled


class Model:
    """A strategy's plant under the record."""

    def __init__(self, case: Case, name: str, record: Record, numbers: Sequence[Number],
                 driven_by: str) -> None:
        """Raises RunError where not even the scenario's own numbers make a run."""
        self.case, self.name, self.record, self.numbers = case, name, record, tuple(numbers)
        self.driven_by = driven_by
        self.tables = _tables(case, name, record, driven_by)
        self._free_pace = {k for k in ("step", "record") if getattr(case.run, k) is None}
        self.evaluations = 0
        self._rest: Rest | None = None
        try:
            self._paced(self.before)
            first = self._assembled(self.before)
            self._columns = tuple(_place(s.name, name, first) for s in record.series)
            self._rest = self._begun(first)[1]
            self.run(self.before)
        except (Unable, *CANNOT_RUN) as why:
            raise RunError(f"the scenario's own numbers make no run under this trend: {why}"
                           ) from None

    @property
    def before(self) -> Array:
        """(p,) the scenario's own values [SI]."""
        return np.array([n.before for n in self.numbers])

    def run(self, values: Values) -> Ran:
        """The model with these values [SI]. Raises Unable."""
        self.evaluations += 1
        try:
            assembled = self._assembled(values)
            plan, start = self._begun(assembled)
            state = starting_state(assembled, start, float(plan.setpoint[0, 0]))
        except CANNOT_RUN as why:
            raise Unable(str(why)) from None
        plant = assembled.plant
        traces = layout.traces(plant)
        if advance.advance(plant, plan, state, traces, plant.last_tick) != DONE:
            raise Unable("the run stopped on its numbers")
        n = plant.last_tick // plant.record_steps + 1
        time = np.arange(n) * (plant.record_steps * plant.step)
        samples = tuple(np.interp(s.time, time, getattr(traces, signal)[:n, column] - less)
                        for s, (signal, column, less) in
                        zip(self.record.series, self._columns, strict=True))
        return Ran(samples, traces, time, assembled)

    def residuals(self, values: Values) -> Array:
        """(n,) of all series one after the other, (model − measured)/noise. Raises Unable."""
        return np.concatenate([(found - s.value) / s.noise for found, s in
                               zip(self.run(values).samples, self.record.series, strict=True)])

    def finer_for(self, values: Values) -> bool:
        """Shorten the step where the plant with these values asks for it; whether that was so."""
        step, interval = self.step, self.interval
        self._paced(values)
        if self.step < FINER * step:
            return True
        self._put(step, interval)
        return False

    def _paced(self, values: Values) -> None:
        tables = dict(self.tables)
        tables["run"] = {k: v for k, v in tables["run"].items() if k not in self._free_pace}
        going = prepare(_read(with_values(tables, self.case, self.numbers, values)), self.name)[1]
        self._put(going.record / ceil(going.record / going.step - 1e-9), going.record)

    def _put(self, step: float, interval: float) -> None:
        self.step, self.interval = step, interval
        self.tables["run"] = self.tables["run"] | {
            "step": written.quantity(step, "time"), "record": written.quantity(interval, "time")}

    def _assembled(self, values: Values) -> Assembled:
        case = _read(with_values(self.tables, self.case, self.numbers, values))
        self._now = case
        made = assemble(case, self.name, self.step, self.interval)
        strategy = case.strategies[self.name]
        if strategy.second_loop or strategy.feedforward or strategy.stall_floor:
            made = carried(with_tables(case, self.name, made), made)
        smooth = layout.changed(made.plant.transmitters,
                                quantum=np.zeros(made.plant.transmitters.size))
        return replace(made, plant=made.plant._replace(transmitters=smooth))

    def _begun(self, assembled: Assembled) -> tuple[Schedule, Rest]:
        """The recorded input at every scan, without noise, and the rest at its start."""
        plan = schedule(assembled, self._now, play(self._now).dials)
        plan = plan._replace(noise=np.zeros_like(plan.noise))
        record, hand = self.record, assembled.loops.hand if assembled.loops else 0
        if record.setpoint is not None:
            plan.setpoint[:, 0] = record.setpoint
        if self.driven_by == OUTPUT:
            assert record.output is not None
            plan.manual[:, hand] = record.output
            return plan, self._settled(assembled, record.resting or 0.0)
        return plan, hold(assembled, float(plan.setpoint[0, 0]))

    def _settled(self, assembled: Assembled, output: float) -> Rest:
        """At rest with this output; near where the scenario's own plant rests, which is quick."""
        if self._rest is not None:
            with suppress(*CANNOT_RUN):
                return rest_near(assembled, self._rest.outputs, self._rest.x)
        return settle(assembled, output)


def _place(name: str, strategy: str, assembled: Assembled) -> tuple[str, int, float]:
    """(trace, column, what to take off) of a trend's signal. RunError where there is none."""
    if name == VOLUME_PRESSURE:
        return "node_pressure", VOLUME, float(assembled.base.pressure[0, AMBIENT])
    if name.startswith(ELEMENT):
        elements, item = assembled.items["element"], name.removeprefix(ELEMENT)
        if item not in elements:
            raise RunError(f'the trend has "{name}", and {strategy} moves {", ".join(elements)}')
        return "element_position", elements.index(item), 0.0
    return name, 0, 0.0


def _tables(case: Case, name: str, record: Record, driven_by: str) -> dict[str, Any]:
    """The scenario's tables with the trend in place of its timeline."""
    made = {k: v for k, v in written.tables(case).items() if k not in NOT_OF_A_TREND}
    made["strategies"] = {name: made["strategies"][name]}
    made["run"] = made["run"] | {"duration": written.quantity(record.duration, "time")}
    if driven_by == OUTPUT:
        made["control"] = {k: v for k, v in made["control"].items() if k != "controller"}
        made["strategies"][name] = {k: v for k, v in made["strategies"][name].items()
                                    if k not in ON_THE_OUTPUT}
    else:
        assert record.setpoint is not None
        made["run"]["starts_at"] = written.quantity(float(record.setpoint[0]),
                                                    case.control.held_kind)
    return made


def _read(tables: dict[str, Any]) -> Case:
    try:
        return Case.model_validate(tables, context=FROM_FILE)
    except ValidationError as error:
        raise ScenarioError(problems(error)) from None
