"""A trend with all that judging it needs, and where it can be judged."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial

import numpy as np

from simfan.history import Happening, SetpointChange
from simfan.plant.case import Criteria
from simfan.trends.derived import Derived
from simfan.trends.recorded import Plant, log, stretch
from simfan.trends.stretch import Spans, Stretch, spans
from simfan.trends.trend import Array, Trend


@dataclass(frozen=True)
class Trial:
    """A trend with all that judging it needs."""

    trend: Trend
    found: Derived
    plant: Plant
    changes: tuple[SetpointChange, ...]
    criteria: Criteria

    known: dict[tuple[str, ...], Spans] = field(default_factory=dict)
    """Signals → where all of them are good."""

    @cached_property
    def log(self) -> tuple[Happening, ...]:
        """Every setpoint change."""
        return log(self.changes, self.plant.facts.held_kind)

    def good(self, needs: Sequence[str], rows: slice) -> Array:
        """(n,) of some rows, those in which all of these signals are good; a stall line may be
        missing."""
        good = np.ones(len(self.trend.time[rows]), dtype=bool)
        for name in needs:
            rests = self.found.stall_rests_on if name == "stall_flow" else (name,)
            for signal in rests:
                good &= np.isfinite(self.found.signals[signal][rows])
        return good

    def spans(self, needs: tuple[str, ...]) -> Spans:
        """The stretches in which these signals are good."""
        if needs not in self.known:
            self.known[needs] = spans(self.trend, partial(self.good, needs))
        return self.known[needs]

    def pieces(self, needs: tuple[str, ...]) -> Iterator[Stretch]:
        """A run for each stretch in which these signals are good."""
        return (stretch(self.trend, self.found, self.plant, self.changes,
                        partial(self.good, needs), span, self.log)
                for span in self.spans(needs).each)
