"""Judgement: runs the folds of `measures` over a history and gives the results names and units.

Knows nothing of how the history was made, so a trend recorded on a plant is judged by the same
code as a simulated run.
"""

from simfan.metrics.judge import can_be_judged, judge
from simfan.metrics.known import assumed_part_s
from simfan.metrics.misses import Miss, misses
from simfan.metrics.plain import plain, with_reasons
from simfan.metrics.results import (
    Change,
    Energy,
    Event,
    Excursions,
    Measures,
    Surge,
    Tracking,
    Travel,
    Whole,
)
from simfan.metrics.verdict import verdict

__all__ = [
    "Change", "Energy", "Event", "Excursions", "Measures", "Miss", "Surge", "Tracking", "Travel",
    "Whole", "assumed_part_s",
    "can_be_judged", "judge", "misses", "plain", "verdict", "with_reasons",
]  # fmt: skip
