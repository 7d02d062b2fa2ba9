"""How near each fan came to its stall line, and how long its air ran backward."""

from typing import Any

import numpy as np

from simfan.history import History
from simfan.measures import margin as fold
from simfan.metrics.columns import Array, clock, column, number


def margins(history: History) -> dict[str, Any]:
    """The worst fan's numbers, by their names in the results."""
    with_line = _with_line(history)
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


def left_of_line(history: History) -> float | None:
    """Time with Q < Q_stall of the worst fan [s]; None without a line."""
    return max((float(m.left) for m in _with_line(history)), default=None)


def time_backward(history: History, fan: int, inside: Array) -> float:
    """Time with Q < 0 in a part of the run [s]: the time left of a line at zero flow, in the
    margin's own arithmetic."""
    time, flow = clock(history), column(history, "fan_flow", fan)
    zero = np.where(inside, 0.0, np.nan)
    return float(fold.result(fold.over(fold.start(), time[0], time, flow, zero)).left)


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


def _with_line(history: History) -> list[Any]:
    """The fold of each fan that has a stall line."""
    found = [_margin(history, fan) for fan in range(len(history.items["fan"]))]
    return [m for m in found if m.with_line]


def _margin(history: History, fan: int) -> Any:
    time = clock(history)
    flow, stall = column(history, "fan_flow", fan), column(history, "stall_flow", fan)
    return fold.result(fold.over(fold.start(), time[0], time, flow, stall))
