"""Stall, surge and backflow that are no excursions of the control strategy: while the motor was
off, or during a start or a stop. Counted and named, not in the verdict."""

from collections.abc import Iterator

from simfan.metrics.columns import Array, Run
from simfan.metrics.in_operation import WHEN, Part, Phases
from simfan.metrics.looked import Looked
from simfan.metrics.misses import LEFT
from simfan.metrics.results import Apart, Event
from simfan.plant.case import Criteria

KINDS = (*LEFT, "reverse flow")
"""Of events that are listed apart, besides surge."""


def apart(run: Run, criteria: Criteria, phases: Phases, counts: Array) -> Iterator[Apart]:
    """One for each part of the run outside the judged one; `counts` are the samples of each."""
    for number, words in WHEN.items():
        if counts[number]:
            yield _of(Looked(Part(run, phases, number), criteria), int(counts[number]), words)


def _of(seen: Looked, samples: int, words: str) -> Apart:
    time, surges = seen.part.time, seen.surges
    events: list[Event] = [e for found in surges for e in found.events]
    events += seen.watched.events(seen.part, KINDS)[0]
    left = max((float(m.left) for m in seen.margins if m.with_line), default=None)
    return Apart(
        when=words, lasts_s=float(samples * (time[1] - time[0])),
        surge_cycles=max((s.cycles for s in surges), default=None),
        time_left_of_peak_s=left, reverse_flow_s=seen.backward_s,
        highest_motor_load_percent=float(100.0 * seen.load),
        events=tuple(sorted(events, key=lambda e: (e.start_s, e.kind, e.where))),
        reasons={name: "no stall line in this part of the run" for name, value in
                 (("surge_cycles", surges or None), ("time_left_of_peak_s", left))
                 if value is None})
