"""How near a run came to what a fan should not do, and what it did of it."""

from typing import Any

import numpy as np

from simfan.history import History
from simfan.metrics import margins, surge
from simfan.metrics.apart import apart
from simfan.metrics.events import MERGE_GAP_S, listed, watches
from simfan.metrics.in_operation import JUDGED, only, phases
from simfan.metrics.results import Event, Excursions
from simfan.plant.case import Criteria


def excursions(history: History, criteria: Criteria) -> Excursions:
    """Judged on the fans' true flow; the worst fan rules each number, events name their fan. What a
    fan does while its motor is off, or during a start, stands apart."""
    phase = phases(history, criteria)
    inside = phase == JUDGED
    run = only(history, inside)
    fans = range(len(run.items["fan"]))
    found = margins.margins(run)
    surges = _surges(run, criteria, fans)
    events: list[Event] = surges.pop("events")
    lost: int = surges.pop("lost")
    for watch in watches(run, criteria, inside):
        some, not_listed = listed(run, watch)
        events, lost = events + some, lost + not_listed
    gauge = _volume_pressure(history)
    return Excursions(
        **found,
        **surges,
        stall_basis=history.facts.fan_map.stall_basis,
        longest_surge_cycle_s=surge.longest_cycle(history),
        reverse_flow_s=max(margins.time_backward(run, fan, inside) for fan in fans),
        highest_motor_load_percent=float(100.0 * run.traces["motor_load"].max()),
        highest_speed_percent=float(100.0 * np.abs(run.traces["speed_ratio"]).max()),
        highest_pressure_pa=None if gauge is None else float(gauge.max()),
        lowest_pressure_pa=None if gauge is None else float(gauge.min()),
        merged_below_s=MERGE_GAP_S,
        events=tuple(sorted(events, key=lambda e: (e.start_s, e.kind, e.where))),
        events_not_listed=lost,
        apart=tuple(apart(history, criteria, phase)),
        reasons=(margins.reasons(found) | surge_reasons(surges)
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
