"""Where two legs of a split range should meet so that the controller sees both alike.

By leg gains: both legs have one mean gain over the range where the split stands at k₁/(k₁ + k₂), k
a leg's mean gain over its own whole travel. By leg tunings: k goes as one over the gain of the
controller that suits the leg.
"""

from dataclasses import dataclass

import numpy as np

from simfan.errors import RunError
from simfan.loops.over_range import Loop
from simfan.loops.rules import split_point
from simfan.plant.case import Case

FEWEST = 3
"""Stable points that a leg must have in the range for a tuning of its own."""


@dataclass(frozen=True)
class Legs:
    """The two legs of a split range."""

    split: float
    """As it is [1]."""
    by_gains: float | None
    """Output of the split at which both legs have one mean gain [1]; None where they pull against
    each other."""
    by_tunings: float | None
    """The same by the robust gain of each leg alone [1]; None where a leg has none in the range."""


def legs(loop: Loop, target: float) -> Legs | None:
    """The legs of a strategy with an order and a split; None for any other, and for legs that
    overlap or leave a gap."""
    sequence = loop.case.strategies[loop.name].sequence
    if sequence is None or sequence.order in (None, "together") or sequence.overlap != 0.0:
        return None
    s = sequence.split
    return Legs(s, _by_gains(loop, s), _by_tunings(loop, s, target))


def _by_gains(loop: Loop, split: float) -> float | None:
    """From what is held at the ends of the range and at the split as it is."""
    order = np.argsort(loop.output)
    low, high = loop.output[order[0]], loop.output[order[-1]]
    if not low < split < high:
        return None
    held = np.interp([low, split, high], loop.output[order], loop.held[order])
    try:
        return split_point(float((held[1] - held[0]) / (split - low) * split),
                           float((held[2] - held[1]) / (high - split) * (1.0 - split)))
    except RunError:
        return None


def _by_tunings(loop: Loop, split: float, target: float) -> float | None:
    """A leg's gain over its whole travel is its gain as it stands over its part of the output."""
    gains = []
    for among, part in ((loop.output <= split, split), (loop.output >= split, 1.0 - split)):
        if np.count_nonzero(among & (loop.unstable == 0)) < FEWEST:
            return None
        try:
            gains.append(abs(loop.robust(target, among).gain) / part)
        except RunError:
            return None
    return split_point(1.0 / gains[0], 1.0 / gains[1])


def words(found: Legs) -> str:
    """In a sentence."""
    ways = [f"{100.0 * at:.0f} % {how}" for at, how in (
        (found.by_gains, "by the legs' gains"), (found.by_tunings, "by a tuning for each leg"))
        if at is not None]
    if not ways:
        return ("the legs cannot be made alike: one of them has no gain, or none in the range, or "
                "they pull against each other")
    return (f"the split stands at {100.0 * found.split:.0f} %; the controller would see both legs "
            f"alike with {' or '.join(ways)}")


def resplit(case: Case, name: str, split: float) -> Case:
    """The case with another split in this strategy."""
    strategy = case.strategies[name]
    assert strategy.sequence is not None
    sequence = strategy.sequence.model_copy(update={"split": split})
    return case.model_copy(update={"strategies": {
        **case.strategies, name: strategy.model_copy(update={"sequence": sequence})}})
