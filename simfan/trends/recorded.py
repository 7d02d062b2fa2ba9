"""A recorded trend as a history, one stretch without a gap at a time."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import nan

import numpy as np

from simfan.history import Audit, Facts, Happening, History, SetpointChange
from simfan.signals import HELD_UNITS
from simfan.trends.derived import Derived
from simfan.trends.room import each
from simfan.trends.stretch import Good, Span, Stretch, time_of
from simfan.trends.trend import Array, Trend, of_element

PER_LOOP = ("setpoint", "measured_value", "true_value", "controller_output")
PER_FAN = ("fan_flow", "fan_pressure", "stall_flow", "speed_ratio", "shaft_power", "motor_load",
           "electrical_power")


@dataclass(frozen=True)
class Plant:
    """What a history must know of the plant beside the trend."""

    facts: Facts
    """Of a run of the strategy; times and setpoints are put in their place."""
    loop: str
    elements: tuple[str, ...]
    barometer: float
    """[Pa]."""


def whole(trend: Trend, found: Derived, plant: Plant, changes: tuple[SetpointChange, ...],
          rows: slice = slice(None)) -> History:
    """The trend, or some of its rows, as a history; a signal that is missing stands as zero."""
    time = trend.time[rows]
    return History(
        time=time, traces=_traces(found, plant, len(trend.time), rows), items=_items(plant),
        log=log(changes, plant.facts.held_kind), facts=_facts(plant.facts, trend, time, changes),
        audit=_audit(trend))


def stretch(trend: Trend, found: Derived, plant: Plant, changes: tuple[SetpointChange, ...],
            good: Good, span: Span, told: tuple[Happening, ...]) -> Stretch:
    """One stretch of good samples, with the setpoint changes that begin in it and the whole log."""
    time = time_of(trend, good, span)
    begin, end = float(time[0]), float(time[-1])
    inside = tuple(replace(c, until_s=min(c.until_s, end)) for c in changes
                   if begin <= c.at_s < end)
    return Stretch(trend, good, span, partial(_traces, found, plant, len(trend.time)), time,
                   _items(plant), told, _facts(plant.facts, trend, time, inside),
                   _audit(trend))


def _traces(found: Derived, plant: Plant, samples: int, rows: Array | slice) -> dict[str, Array]:
    """Some rows of all signals, of a trend with so many samples."""
    none = np.broadcast_to(0.0, samples)

    def one(name: str) -> Array:
        return found.signals.get(name, none)[rows]

    traces = {name: one(name)[:, None] for name in (*PER_LOOP, *PER_FAN)}
    traces["element_position"] = side_by_side([one(of_element(name)) for name in plant.elements])
    gauge, air = one("volume_pressure"), plant.barometer
    traces["node_pressure"] = np.broadcast_to(air, (len(gauge), 2))
    if "volume_pressure" in found.signals:
        traces["node_pressure"] = each(
            lambda gauge: np.column_stack([gauge + air, np.full(len(gauge), air)]), gauge)
    return traces


def side_by_side(columns: Sequence[Array]) -> Array:
    """(n_samples, n_columns)."""
    if len(columns) == 1:
        return columns[0][:, None]
    return each(lambda *blocks: np.column_stack(blocks), *columns)


def _items(plant: Plant) -> dict[str, tuple[str, ...]]:
    return {"loop": (plant.loop,), "element": plant.elements, "fan": ("fan",), "branch": (),
            "node": ("volume", "ambient")}


def _facts(facts: Facts, trend: Trend, time: Array, changes: tuple[SetpointChange, ...]) -> Facts:
    """Those of the run with the trend's own times and setpoints."""
    end = float(time[-1]) if len(time) else 0.0
    return replace(facts, duration_s=end, record_s=trend.interval_s, changes=changes,
                   events_at_s=tuple(c.at_s for c in changes), assumed=(), findings=(),
                   robustness=None)


def _audit(trend: Trend) -> Audit:
    """A record has no arithmetic of its own."""
    return Audit(step_s=trend.interval_s, steps=len(trend.time), fastest_time_constant_s=nan,
                 mass_balance_residual=nan, stiff_steps=0)


def log(changes: Sequence[SetpointChange], held_kind: str) -> tuple[Happening, ...]:
    """In the words of a run's log."""
    unit = HELD_UNITS[held_kind]
    return tuple(Happening(c.at_s, f"setpoint {c.start:.4g} → {c.end:.4g} {unit}"
                           + (f" over {c.over_s:.3g} s" if c.over_s else "")) for c in changes)
