"""How near each fan came to its stall line, and how long its air ran backward."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from simfan.history import History
from simfan.measures import margin as fold
from simfan.metrics.columns import Array, Folded, clock, column, number


def margins(found: Sequence[fold.Result]) -> dict[str, Any]:
    """The worst fan's numbers, by their names in the results."""
    with_line = [m for m in found if m.with_line]
    if not with_line:
        names = ("lowest_stall_margin_percent", "lowest_stall_margin_at_s",
                 "lowest_flow_over_stall_percent", "time_left_of_peak_s")  # fmt: skip
        return dict.fromkeys(names)
    through_zero = any(m.without_flow for m in with_line)
    worst = min(with_line, key=lambda m: m.ratio)
    return {
        "lowest_stall_margin_percent": None if through_zero else number(100.0 * worst.lowest),
        "lowest_stall_margin_at_s": None if through_zero else number(worst.lowest_at),
        "lowest_flow_over_stall_percent": number(100.0 * worst.ratio),
        "time_left_of_peak_s": max(float(m.left) for m in with_line),
    }


class Margin:
    """One fan's, on its way over the blocks of a run."""

    def __init__(self, fan: int) -> None:
        self.fan = fan
        self.to_line, self.to_zero = (Folded(fold, fold.start()) for _ in range(2))

    def take(self, block: History, inside: Array) -> None:
        """The next samples; flow backward counts only `inside`: it is the time left of a line at
        zero flow, in the margin's own arithmetic."""
        time, flow = clock(block), column(block, "fan_flow", self.fan)
        self.to_line.take(time, flow, column(block, "stall_flow", self.fan))
        self.to_zero.take(time, flow, np.where(inside, 0.0, np.nan))

    @property
    def backward_s(self) -> float:
        """Time with Q < 0 [s]."""
        return float(self.to_zero.result().left)


def reasons(found: dict[str, Any]) -> dict[str, str]:
    """Why a number about the stall line does not exist."""
    ratio = found["lowest_flow_over_stall_percent"]
    if ratio is None:
        why = "no stall line in this run: the curve has no peak at its speeds and inlet settings"
    else:
        why = (
            "the flow went to zero or backward, where (Q - Q_stall)/Q has no lowest value; "
            f"the lowest Q/Q_stall is {ratio:.3g} %"
        )
    return {name: why for name, value in found.items() if value is None}
