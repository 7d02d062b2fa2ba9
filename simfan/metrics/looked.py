"""One part of a run looked through, block by block: what its fans did there."""

from dataclasses import dataclass, field

import numpy as np

from simfan.history import History
from simfan.measures import margin
from simfan.metrics import surge
from simfan.metrics.columns import Array, blocks
from simfan.metrics.events import Watched
from simfan.metrics.in_operation import Part
from simfan.metrics.margins import Margin
from simfan.plant.case import Criteria


@dataclass
class Looked:
    """Everything that is counted of fans, in one pass over the samples."""

    part: Part
    criteria: Criteria
    swing: float | None = field(init=False)
    """Smallest that counts as surge [m³/s]; None without a stall line."""
    counts: Array = field(init=False)
    """Samples in each part of the run, the others included."""
    load: float = -np.inf
    """Largest [of the rating]."""
    speed: float = -np.inf
    """Largest size [of rated]."""
    gauge: tuple[float, float] = (np.inf, -np.inf)
    """Lowest and highest pressure of the volume [Pa]."""

    def __post_init__(self) -> None:
        run, fans = self.part, range(len(self.part.items["fan"]))
        flow = surge.stall_flow(run)
        self.swing = None if flow is None else self.criteria.surge_swing * flow
        self.counts = np.zeros(3, dtype=np.int64)
        self.each = [Margin(fan) for fan in fans]
        self.cycles = [] if self.swing is None else [
            surge.Cycles(run, fan, self.swing) for fan in fans]
        self.watched = Watched(self.criteria)
        self.has_volume = {"volume", "ambient"} <= set(run.items["node"])
        for block in blocks(run):
            self._take(block)

    def _take(self, block: History) -> None:
        inside = self.part.inside(block)
        self.counts += np.bincount(self.part.phases.of(block), minlength=3)
        for one in self.each:
            one.take(block, inside)
        for cycles in self.cycles:
            cycles.take(block)
        self.watched.take(block, inside)
        self.load = np.maximum(self.load, block.traces["motor_load"].max())
        self.speed = np.maximum(self.speed, np.abs(block.traces["speed_ratio"]).max())
        if self.has_volume:
            gauge = block.trace("node_pressure", "volume") - block.trace("node_pressure", "ambient")
            low, high = self.gauge
            self.gauge = np.minimum(low, gauge.min()), np.maximum(high, gauge.max())

    @property
    def margins(self) -> list[margin.Result]:
        """Of each fan."""
        return [one.to_line.result() for one in self.each]

    @property
    def surges(self) -> list[surge.Found]:
        """Of each fan; empty without a stall line."""
        return [cycles.found(self.part) for cycles in self.cycles]

    @property
    def backward_s(self) -> float:
        """Longest time of backward flow [s]."""
        return max(one.backward_s for one in self.each)
