"""What is said of one run. Field names are the names in the JSON; each carries its unit.

A number that does not exist is None, and `reasons` beside it says why.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

from simfan.history import Audit
from simfan.signals import HELD_UNITS

Reasons = Mapping[str, str]


@dataclass(frozen=True)
class Whole:
    """How the true value kept to the setpoint, over all of the run."""

    iae_percent_s: float
    ise_percent2_s: float
    itae_percent_s2: float
    largest_deviation_percent: float
    time_outside_band_s: float
    band_percent: float
    """Half width of the band, of the present setpoint; where a pressure is held, of what
    `percent_of` says."""


@dataclass(frozen=True)
class Change:
    """The answer to one setpoint change, from `at_s` until the next event."""

    at_s: float
    until_s: float
    over_s: float
    """Length of the ramp; 0 for a step."""
    held_kind: str
    """"volume flow", "mass flow" or "pressure"."""
    start: float
    """Setpoint before it, SI; in the JSON `from_m3_s`, `from_kg_s` or `from_pa`."""
    end: float
    """Setpoint after it, SI; in the JSON `to_m3_s`, `to_kg_s` or `to_pa`."""
    iae_percent_s: float | None
    ise_percent2_s: float | None
    itae_percent_s2: float | None
    """Time counted from `at_s`."""
    time_outside_band_s: float | None
    overshoot_percent: float | None
    """Of the step, as are undershoot and the settling band."""
    undershoot_percent: float | None
    """The wrong way first."""
    rise_time_s: float | None
    """10 to 90 % of the step."""
    settling_time_s: float | None
    """From `at_s` to the last time outside the band."""
    settling_band_percent: float
    reasons: Reasons = field(default_factory=dict)

    def named(self) -> dict[str, Any]:
        """By the names in the JSON; those of the two setpoints carry the unit of what is held."""
        unit = HELD_UNITS[self.held_kind].lower().replace("/", "_")
        ends = {"start": f"from_{unit}", "end": f"to_{unit}"}
        return {ends.get(f.name, f.name): getattr(self, f.name) for f in fields(self)}


@dataclass(frozen=True)
class Tracking:
    """Judged on the true value, not on the damped measured value."""

    whole: Whole
    changes: tuple[Change, ...]
    percent_of: str
    """What 100 % is in the integrals of error and the deviations."""


@dataclass(frozen=True)
class Energy:
    """All fans together, over the whole run."""

    shaft_kwh: float
    electrical_kwh: float
    cost: float | None
    currency: str
    volume_m3: float
    """Actual volume at the fans' inlets; backward flow counts against it."""
    kwh_per_1000_m3: float | None
    """Electrical."""
    fan_efficiency_percent: float | None
    """Static, average over the run: ∫Q·Δp·Kp dt of forward flow over the energy at the shaft."""
    reasons: Reasons = field(default_factory=dict)


@dataclass(frozen=True)
class Event:
    """One excursion from start to end. `moving`: what moved in the seconds before its start."""

    kind: str
    where: str
    """The fan or the loop."""
    start_s: float
    end_s: float
    duration_s: float
    crossings: int
    """Times it went beyond the limit within the event."""
    depth: float | None
    """How far beyond the limit at most; of surge, the largest swing of flow."""
    depth_unit: str
    moving: str
    after: str
    """The last line of the run's log before it."""
    still_on_at_end: bool
    reasons: Reasons = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Surge(Event):
    """An episode of surge cycles; `crossings` counts them too."""

    cycles: int
    frequency_hz: float | None
    flow_swing_m3_s: float
    lowest_flow_m3_s: float
    pressure_swing_pa: float


@dataclass(frozen=True)
class Excursions:
    """Judged on the fan's true flow. With several fans, each number is that of the worst."""

    lowest_stall_margin_percent: float | None
    """(Q − Q_stall)/Q at the same speed and inlet setting."""
    lowest_stall_margin_at_s: float | None
    lowest_flow_over_stall_percent: float | None
    time_left_of_peak_s: float | None
    stall_basis: str
    surge_cycles: int | None
    surge_swing_m3_s: float | None
    """Smallest swing that counts."""
    longest_surge_cycle_s: float
    """Widest valley that counts."""
    reverse_flow_s: float
    highest_motor_load_percent: float
    highest_speed_percent: float
    """Of rated speed."""
    highest_pressure_pa: float | None
    """Of the volume over its surroundings."""
    lowest_pressure_pa: float | None
    merged_below_s: float
    """Events of a kind with less time between them are one."""
    events: tuple[Event, ...]
    events_not_listed: int
    reasons: Reasons = field(default_factory=dict)


@dataclass(frozen=True)
class Travel:
    """How much one element was moved, in percent of its stroke (a drive: of rated speed)."""

    travel_percent: float
    reversals: int
    dead_band_percent: float
    """A turn counts once the element has moved back by more than this."""
    time_at_limits_s: float


@dataclass(frozen=True)
class Measures:
    """All that is measured of one run."""

    tracking: Tracking
    energy: Energy
    excursions: Excursions
    travel: Mapping[str, Travel]
    audit: Audit
