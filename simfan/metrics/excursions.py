"""How near a run came to what a fan should not do, and what it did of it."""

from typing import Any

import numpy as np

from simfan.history import History
from simfan.measures import margin as fold
from simfan.metrics import surge
from simfan.metrics.columns import clock, column, number
from simfan.metrics.events import MERGE_GAP_S, listed, watches
from simfan.metrics.results import Event, Excursions
from simfan.plant.case import Criteria


def excursions(history: History, criteria: Criteria) -> Excursions:
    """Judged on the fans' true flow; the worst fan rules each number, events name their fan."""
    fans = range(len(history.items["fan"]))
    margins = _margins([_margin(history, fan) for fan in fans])
    surges = _surges(history, criteria, fans)
    events: list[Event] = surges.pop("events")
    lost: int = surges.pop("lost")
    for watch in watches(history, criteria):
        found, not_listed = listed(history, watch)
        events, lost = events + found, lost + not_listed
    gauge = _volume_pressure(history)
    return Excursions(
        **margins,
        **surges,
        stall_basis=history.facts.fan_map.stall_basis,
        longest_surge_cycle_s=surge.longest_cycle(history),
        reverse_flow_s=max(_time_backward(history, fan) for fan in fans),
        highest_motor_load_percent=float(100.0 * history.traces["motor_load"].max()),
        highest_speed_percent=float(100.0 * history.traces["speed_ratio"].max()),
        highest_pressure_pa=None if gauge is None else float(gauge.max()),
        lowest_pressure_pa=None if gauge is None else float(gauge.min()),
        merged_below_s=MERGE_GAP_S,
        events=tuple(sorted(events, key=lambda e: (e.start_s, e.kind, e.where))),
        events_not_listed=lost,
        reasons=(margins_reasons(history, margins) | surge_reasons(surges)
                 | pressure_reasons(gauge is not None)),
    )


def _volume_pressure(history: History) -> np.ndarray | None:
    """Gauge pressure of the volume [Pa], (n_samples,); None in a run without these nodes."""
    if not {"volume", "ambient"} <= set(history.items["node"]):
        return None
    return history.trace("node_pressure", "volume") - history.trace("node_pressure", "ambient")


def pressure_reasons(known: bool) -> dict[str, str]:
    """Why there is no pressure of the volume."""
    why = "the run has no nodes called volume and ambient"
    return {} if known else {"highest_pressure_pa": why, "lowest_pressure_pa": why}


def _margin(history: History, fan: int) -> Any:
    time = clock(history)
    flow, stall = column(history, "fan_flow", fan), column(history, "stall_flow", fan)
    return fold.result(fold.over(fold.start(), time[0], time, flow, stall))


def _time_backward(history: History, fan: int) -> float:
    """Time with Q < 0 [s]: the time left of a line at zero flow, in the margin's own arithmetic."""
    time, flow = clock(history), column(history, "fan_flow", fan)
    zero = np.zeros_like(flow)
    return float(fold.result(fold.over(fold.start(), time[0], time, flow, zero)).left)


def _margins(fans: list[Any]) -> dict[str, Any]:
    with_line = [m for m in fans if m.with_line]
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


def margins_reasons(history: History, margins: dict[str, Any]) -> dict[str, str]:
    """Why a number about the stall line does not exist."""
    ratio = margins["lowest_flow_over_stall_percent"]
    if ratio is None:
        why = "no stall line in this run: the curve has no peak at its speeds and inlet settings"
    else:
        why = (
            "the flow went to zero or backward, where (Q - Q_stall)/Q has no lowest value; "
            f"the lowest Q/Q_stall is {ratio:.3g} %"
        )
    return {name: why for name, value in margins.items() if value is None}


def _surges(history: History, criteria: Criteria, fans: range) -> dict[str, Any]:
    flow = surge.stall_flow(history)
    if flow is None:
        return {"surge_cycles": None, "surge_swing_m3_s": None, "events": [], "lost": 0}
    swing = criteria.surge_swing * flow
    found = [surge.find(history, fan, swing) for fan in fans]
    return {
        "surge_cycles": max(f.cycles for f in found),
        "surge_swing_m3_s": swing,
        "events": [e for f in found for e in f.events],
        "lost": sum(f.not_listed for f in found),
    }


def surge_reasons(surges: dict[str, Any]) -> dict[str, str]:
    """Why surge cannot be counted."""
    why = "no stall line in this run, and a surge cycle is counted by its fall to the left of one"
    return {name: why for name, value in surges.items() if value is None}
