"""Stall, surge and backflow that are no excursions of the control strategy: while the motor was
off, or during a start or a stop. Counted and named, not in the verdict."""

from collections.abc import Iterator

import numpy as np

from simfan.history import History
from simfan.metrics import surge
from simfan.metrics.columns import Array
from simfan.metrics.events import listed, watches
from simfan.metrics.in_operation import WHEN, only
from simfan.metrics.margins import left_of_line, time_backward
from simfan.metrics.misses import LEFT
from simfan.metrics.results import Apart, Event
from simfan.plant.case import Criteria

KINDS = (*LEFT, "reverse flow")
"""Of events that are listed apart, besides surge."""


def apart(history: History, criteria: Criteria, phase: Array) -> Iterator[Apart]:
    """One for each part of the run outside the judged one."""
    for number, words in WHEN.items():
        inside = phase == number
        if inside.any():
            yield _of(only(history, inside), criteria, inside, words)


def _of(run: History, criteria: Criteria, inside: Array, words: str) -> Apart:
    fans = range(len(run.items["fan"]))
    flow = surge.stall_flow(run)
    surges = [] if flow is None else [
        surge.find(run, fan, criteria.surge_swing * flow) for fan in fans]
    events: list[Event] = [e for found in surges for e in found.events]
    events += [e for watch in watches(run, criteria, inside) if watch.kind in KINDS
               for e in listed(run, watch)[0]]
    return Apart(
        when=words, lasts_s=float(np.sum(inside) * (run.time[1] - run.time[0])),
        surge_cycles=max((s.cycles for s in surges), default=None),
        time_left_of_peak_s=(left := left_of_line(run)),
        reverse_flow_s=max(time_backward(run, fan, inside) for fan in fans),
        highest_motor_load_percent=float(100.0 * run.traces["motor_load"].max()),
        events=tuple(sorted(events, key=lambda e: (e.start_s, e.kind, e.where))),
        reasons={name: "no stall line in this part of the run" for name, value in
                 (("surge_cycles", surges or None), ("time_left_of_peak_s", left))
                 if value is None})
