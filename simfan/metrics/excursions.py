"""How near a run came to what a fan should not do, and what it did of it."""

from typing import Any

from simfan.metrics import margins, surge
from simfan.metrics.apart import apart
from simfan.metrics.columns import Run
from simfan.metrics.events import MERGE_GAP_S
from simfan.metrics.in_operation import JUDGED, Part, phases
from simfan.metrics.looked import Looked
from simfan.metrics.results import Event, Excursions
from simfan.plant.case import Criteria


def excursions(run: Run, criteria: Criteria) -> Excursions:
    """Judged on the fans' true flow; the worst fan rules each number, events name their fan. What a
    fan does while its motor is off, or during a start, stands apart."""
    parts = phases(run, criteria)
    seen = Looked(Part(run, parts, JUDGED), criteria)
    found = margins.margins(seen.margins)
    surges = _surges(seen)
    events: list[Event] = surges.pop("events")
    lost: int = surges.pop("lost")
    some, not_listed = seen.watched.events(seen.part)
    lowest, highest = seen.gauge
    return Excursions(
        **found,
        **surges,
        stall_basis=run.facts.fan_map.stall_basis,
        longest_surge_cycle_s=surge.longest_cycle(run),
        reverse_flow_s=seen.backward_s,
        highest_motor_load_percent=float(100.0 * seen.load),
        highest_speed_percent=float(100.0 * seen.speed),
        highest_pressure_pa=float(highest) if seen.has_volume else None,
        lowest_pressure_pa=float(lowest) if seen.has_volume else None,
        merged_below_s=MERGE_GAP_S,
        events=tuple(sorted(events + some, key=lambda e: (e.start_s, e.kind, e.where))),
        events_not_listed=lost + not_listed,
        apart=tuple(apart(run, criteria, parts, seen.counts)),
        reasons=(margins.reasons(found) | surge_reasons(surges)
                 | pressure_reasons(seen.has_volume)),
    )


def pressure_reasons(known: bool) -> dict[str, str]:
    """Why there is no pressure of the volume."""
    why = "the run has no nodes called volume and ambient"
    return {} if known else {"highest_pressure_pa": why, "lowest_pressure_pa": why}


def _surges(seen: Looked) -> dict[str, Any]:
    if seen.swing is None:
        return {"surge_cycles": None, "surge_swing_m3_s": None, "events": [], "lost": 0}
    found = seen.surges
    return {
        "surge_cycles": max(f.cycles for f in found),
        "surge_swing_m3_s": seen.swing,
        "events": [e for f in found for e in f.events],
        "lost": sum(f.not_listed for f in found),
    }


def surge_reasons(surges: dict[str, Any]) -> dict[str, str]:
    """Why surge cannot be counted."""
    why = "no stall line in this run, and a surge cycle is counted by its fall to the left of one"
    return {name: why for name, value in surges.items() if value is None}
