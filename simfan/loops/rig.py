"""A strategy at rest at a held value, its loop in manual, to be experimented on in the kernel."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from math import ceil

import numpy as np

from simfan.assemble import Assembled, assemble
from simfan.assemble.control import controller
from simfan.assemble.schedule import schedule
from simfan.assemble.transmitter import span
from simfan.errors import RunError
from simfan.experiment_answer import Record
from simfan.kernel import advance, entry, layout
from simfan.kernel.layout import DONE, TICK, Schedule, State
from simfan.loops.linear import Linear
from simfan.loops.over_range import Loop, Process
from simfan.plant.case import Case
from simfan.plant.events import Event
from simfan.simulate import prepare
from simfan.steady.balance import Rest, hold, is_stable, starting_state
from simfan.steady.bench import Array
from simfan.timeline import AS_IT_IS, play
from simfan.units import show

Switch = Callable[[float, float], float]
"""Output at a scan from time [s] and reading [held unit]."""
LEAST_GAIN = 1e-3
"""Below it a test shows nothing [% per %]."""


@dataclass(frozen=True)
class Rig:
    """A strategy at rest, in manual."""

    case: Case
    name: str
    assembled: Assembled
    rest: Rest
    linear: Linear
    process: Process
    sign: float
    """1 where more output raises what is held, else −1."""

    @cached_property
    def start(self) -> State:
        """The state at rest; not to be changed."""
        return starting_state(self.assembled, self.rest, self.rest.held)

    @property
    def output(self) -> float:
        """Of the controller, at rest [1]."""
        return float(self.start.loop.output[0])

    @property
    def width(self) -> float:
        """Of the transmitter's span [held unit]."""
        return span(self.case)[1]

    @property
    def ends(self) -> tuple[float, float]:
        """Limits of the output [1]."""
        c = controller(self.case, self.case.strategies[self.name])
        return c.output_low, c.output_high

    def positions(self, output: float) -> Array:
        """(n_elements,) where the sequence tables put the elements that this controller moves; the
        others stand."""
        act = self.assembled.plant.actuators
        return np.array([np.interp(output, act.output[a], act.demand[a])
                         if act.each.loop[a] == 0 else self.start.demand[a]
                         for a in range(act.each.size)])

    def run(self, seconds: float, switch: Switch, drift: float = 0.0) -> Record:
        """The plant from rest, its output switched at each scan; the process resistance drifts by
        a share over the test. Other loops stand in manual, too, but for overrides.
        Raises RunError where the numbers break."""
        scan = self.case.control.scan
        case = _lasting(self.case, ceil(seconds / scan) * scan, self.rest.held, drift)
        assembled = assemble(case, self.name, self.assembled.plant.step, scan)
        plant, plan = assembled.plant, schedule(assembled, case, play(case).dials)
        state, traces = layout.copy(self.start), layout.traces(plant)
        look, n = _Look(assembled), plan.manual.shape[0]
        plan.manual[:, plant.loops.overrides < 0] = AS_IT_IS
        seen = np.empty((n, 2))
        for k in range(n):
            seen[k, 0] = look.reading(plan, state)
            seen[k, 1] = plan.manual[k, 0] = switch(k * scan, float(seen[k, 0]))
            until = min(int(state.counts[TICK]) + plant.scan_steps, plant.last_tick)
            if advance.advance(plant, plan, state, traces, until) != DONE:
                raise RunError(f"{self.name}: the test stopped on its numbers after "
                               f"{k * scan:.4g} s; try a shorter run.step")
        return Record(np.arange(n) * scan, seen[:, 0], seen[:, 1], traces.element_position)


class _Look:
    """The reading that the controller is about to get, without disturbing the run."""

    def __init__(self, assembled: Assembled) -> None:
        self.plant = assembled.plant
        self.probe = layout.new_probe(self.plant)
        self.coef = layout.new_coefficients(self.plant)
        self.slope = np.zeros(entry.begins(self.plant).end)

    def reading(self, plan: Schedule, state: State) -> float:
        """Of the scan the state stands at [held unit]."""
        copy = layout.copy(state)
        entry.scan(self.plant, plan, copy, self.slope, self.coef, self.probe)
        return float(copy.loop[0].reading)


def rig(case: Case, name: str, held: float) -> Rig:
    """The strategy at rest at a held value [m³/s, kg/s or Pa].

    Raises RunError where it does not reach it, does not stay there in manual, or moves nothing.
    """
    assembled, _ = prepare(case, name)
    rest, kind = hold(assembled, held), case.control.held_kind
    if assembled.plant.loops.inner[0] >= 0:
        raise RunError(f"{name}: its controller sets the setpoint of an inner loop, and moves no "
                       "element; test the inner loop in a strategy of its own")
    place = f"{name} at {show(held, kind, digits=4)}"
    if not rest.reached:
        raise RunError(f"{name} does not hold {show(held, kind, digits=4)}; the nearest is "
                       f"{show(rest.held, kind, digits=4)}, at {100.0 * rest.outputs[0]:.4g} % "
                       "output")
    if not is_stable(assembled, rest):
        raise RunError(f"{place}: the plant is unstable with its elements standing still, and runs "
                       "away from a test in manual; choose another value or another strategy")
    loop = Loop(case, name, rest.held, rest.held, n=1)
    if abs(loop.linear[0].gain) < LEAST_GAIN:
        raise RunError(f"{place}: the output moves nothing there (process gain "
                       f"{loop.linear[0].gain:.2g} % per %): an element stands at its end, or the "
                       "sequence has a gap")
    return Rig(case, name, assembled, rest, loop.linear[0], loop.processes[0], loop.sign)


def _lasting(case: Case, duration: float, held: float, drift: float) -> Case:
    """The case for so long, nothing happening but the drift."""
    run = case.run.model_copy(update={"duration": duration, "starts_at": held, "setpoint": None})
    slowly = Event(at=0.0, process_resistance=1.0 + drift, over=duration) if drift else None
    return case.model_copy(update={"run": run, "timeline": (slowly,) if slowly else ()})
