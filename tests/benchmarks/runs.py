"""Runs to be timed: the plain case at a 20 ms step, ready to go, as often as wanted."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from simfan.assemble import assemble
from simfan.assemble.schedule import schedule
from simfan.kernel import advance, layout
from simfan.kernel.layout import DONE, Plant, Schedule, State, Traces
from simfan.steady.balance import hold, starting_state
from simfan.timeline import play
from tests.plants import plain

STEP, SCAN, RECORD = 0.02, 0.24, 0.06
"""[s]"""
FULL = 45.0
"""Flow at the start [m³/s]."""


@dataclass(frozen=True)
class Going:
    """A plant with its schedule and the state it starts from."""

    plant: Plant
    plan: Schedule
    start: State
    traces: Traces

    def go(self) -> State:
        """Advance a copy of the start to the end."""
        state = layout.copy(self.start)
        assert advance.advance(self.plant, self.plan, state, self.traces,
                               self.plant.last_tick) == DONE
        return state

    @property
    def seconds(self) -> float:
        """Simulated time."""
        return float(self.plant.last_tick * self.plant.step)


def going(name: str, timeline: list[dict[str, Any]], duration: float, **changes: Any) -> Going:
    """A strategy of the plain case; the record interval is what it would choose for itself."""
    case = plain(**{"control": {"scan": SCAN}, "timeline": timeline,
                    "run": {"duration": duration, "starts_at": FULL}} | changes)
    assembled = assemble(case, name, STEP, RECORD)
    plan = schedule(assembled, case, play(case).dials)
    start = starting_state(assembled, hold(assembled, FULL), FULL)
    return Going(assembled.plant, plan, start, layout.traces(assembled.plant))


def to(setpoint: float) -> list[dict[str, Any]]:
    """A timeline of one setpoint step, soon."""
    return [{"at": 10 * SCAN, "setpoint": setpoint}]


def best(work: Callable[[], object], rounds: int = 7) -> float:
    """Shortest time of several rounds [s]: what the work costs where nothing else disturbs it."""
    times = []
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times)
