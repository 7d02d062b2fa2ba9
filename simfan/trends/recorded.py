"""A recorded trend as a history, one stretch without a gap at a time."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import nan

import numpy as np

from simfan.history import Audit, Facts, Happening, History, SetpointChange
from simfan.signals import HELD_UNITS
from simfan.trends.derived import Derived
from simfan.trends.trend import Array, Trend, of_element

PER_LOOP = ("setpoint", "measured_value", "true_value", "controller_output")
PER_FAN = ("fan_flow", "fan_pressure", "stall_flow", "speed_ratio", "shaft_power", "motor_load",
           "electrical_power")
MOST_STRETCHES = 300
"""A trend in more pieces is judged in its longest. Our choice; no source."""


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
          rows: Array | slice = slice(None), log: tuple[SetpointChange, ...] | None = None
          ) -> History:
    """The trend, or some of its rows, as a history; a signal that is missing stands as zero."""
    time = trend.time[rows]
    none = np.broadcast_to(0.0, (len(time), 1))

    def one(name: str) -> Array:
        return found.signals[name][rows][:, None] if name in found.signals else none

    traces = {name: one(name) for name in (*PER_LOOP, *PER_FAN)}
    positions = [one(of_element(name)) for name in plant.elements]
    ambient = np.broadcast_to(plant.barometer, (len(time), 1))
    traces["element_position"] = (np.hstack(positions) if len(positions) > 1 else positions[0])
    traces["node_pressure"] = np.hstack([one("volume_pressure") + plant.barometer, ambient])
    items = {"loop": (plant.loop,), "element": plant.elements, "fan": ("fan",), "branch": (),
             "node": ("volume", "ambient")}
    return History(time=time, traces=traces, items=items, log=_log(changes if log is None else log,
                            HELD_UNITS[plant.facts.held_kind]),
                   facts=_facts(plant.facts, trend, time, changes), audit=_audit(trend))


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


def _log(changes: Sequence[SetpointChange], unit: str) -> tuple[Happening, ...]:
    """In the words of a run's log."""
    return tuple(Happening(c.at_s, f"setpoint {c.start:.4g} → {c.end:.4g} {unit}"
                           + (f" over {c.over_s:.3g} s" if c.over_s else "")) for c in changes)


def stretches(trend: Trend, good: Array) -> tuple[list[Array], int]:
    """Rows of each stretch of good samples without a gap, and how many stretches are left out.

    A short spell of bad samples is bridged by a straight line; two samples make a stretch.
    """
    rows = np.flatnonzero(good)
    cuts = np.flatnonzero(np.diff(trend.time[rows]) > trend.longest_interval_s) + 1
    pieces = [piece for piece in np.split(rows, cuts) if len(piece) >= 2]
    if len(pieces) <= MOST_STRETCHES:
        return pieces, 0
    longest = sorted(range(len(pieces)), key=lambda i: -len(pieces[i]))[:MOST_STRETCHES]
    return [pieces[i] for i in sorted(longest)], len(pieces) - MOST_STRETCHES


def pieces(trend: Trend, found: Derived, plant: Plant, changes: tuple[SetpointChange, ...],
           good: Array) -> Iterator[History]:
    """A history for each stretch, with the setpoint changes that begin in it."""
    for rows in stretches(trend, good)[0]:
        begin, end = float(trend.time[rows[0]]), float(trend.time[rows[-1]])
        inside = tuple(replace(c, until_s=min(c.until_s, end)) for c in changes
                       if begin <= c.at_s < end)
        index = slice(int(rows[0]), int(rows[-1]) + 1) if len(rows) == rows[-1] - rows[0] + 1 else (
            rows)
        yield whole(trend, found, plant, inside, index, changes)
