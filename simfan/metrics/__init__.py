"""Judgement: runs the folds of `measures` over a history and gives the results names and units.

Knows nothing of how the history was made, so a trend recorded on a plant is judged by the same
code as a simulated run.
"""

from simfan.metrics.interrupted import interruptions
from simfan.metrics.judge import can_be_judged, judge
from simfan.metrics.known import assumed_part_s
from simfan.metrics.misses import Miss, beyond_words, misses, robustness_misses, unstable_words
from simfan.metrics.plain import plain, with_reasons
from simfan.metrics.results import (
    Apart,
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
    "Apart", "Change", "Energy", "Event", "Excursions", "Measures", "Miss", "Surge", "Tracking",
    "Travel", "Whole", "assumed_part_s", "beyond_words", "can_be_judged", "interruptions", "judge",
    "misses", "plain", "robustness_misses", "unstable_words", "verdict", "with_reasons",
]
