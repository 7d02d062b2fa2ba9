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

    iae_percent_s: float | None
    """∫|e| dt [% s]."""
    ise_percent2_s: float | None
    """∫e² dt [%² s]."""
    itae_percent_s2: float | None
    """∫t|e| dt [% s²]."""
    largest_deviation_percent: float | None
    """Largest |e| [%]."""
    time_outside_band_s: float | None
    """[s]."""
    band_percent: float
    """Half width of the band [%], of the present setpoint; where a pressure is held, of what
    `percent_of` says."""


@dataclass(frozen=True)
class Change:
    """The answer to one setpoint change, from `at_s` until the next event."""

    at_s: float
    """[s]."""
    until_s: float
    """End of its window [s]."""
    over_s: float
    """Length of the ramp [s]; 0 for a step."""
    held_kind: str
    """"volume flow", "mass flow" or "pressure"."""
    start: float
    """Setpoint before it [m³/s, kg/s or Pa]; in the JSON `from_m3_s`, `from_kg_s` or `from_pa`."""
    end: float
    """Setpoint after it [m³/s, kg/s or Pa]; in the JSON `to_m3_s`, `to_kg_s` or `to_pa`."""
    iae_percent_s: float | None
    """∫|e| dt [% s]."""
    ise_percent2_s: float | None
    """∫e² dt [%² s]."""
    itae_percent_s2: float | None
    """∫(t − at)|e| dt [% s²]."""
    time_outside_band_s: float | None
    """[s]."""
    overshoot_percent: float | None
    """[%] of `judged_step`, as are undershoot and the settling band."""
    undershoot_percent: float | None
    """The wrong way first [%]."""
    rise_time_s: float | None
    """10 to 90 % of the step [s]."""
    settling_time_s: float | None
    """From the end of the ramp, or the step, to the last time outside the band [s]."""
    settling_band_percent: float
    """Half width [%] of `judged_step`."""
    judged_step: float
    """|`end` − `start`|, or the band about the largest setpoint where that is more: a smaller move
    is within the band anyway [m³/s, kg/s or Pa]; in the JSON with its unit."""
    reasons: Reasons = field(default_factory=dict)
    """Why a number is None, by its name."""

    def named(self) -> dict[str, Any]:
        """By the names in the JSON; those of the two setpoints carry the unit of what is held."""
        unit = HELD_UNITS[self.held_kind].lower().replace("/", "_")
        ends = {"start": f"from_{unit}", "end": f"to_{unit}", "judged_step": f"judged_step_{unit}"}
        return {ends.get(f.name, f.name): getattr(self, f.name) for f in fields(self)}


@dataclass(frozen=True)
class Tracking:
    """Judged on the true value, not on the damped measured value."""

    whole: Whole
    """The whole run."""
    changes: tuple[Change, ...]
    """Each setpoint change, in the order of time."""
    percent_of: str
    """What 100 % is in the integrals of error and the deviations."""
    noise: str = ""
    """Which setpoint changes the transmitter's noise decides, so that they are not judged; "" for
    none."""


@dataclass(frozen=True)
class Energy:
    """All fans together, over the whole run."""

    shaft_kwh: float | None
    """∫P dt at the shaft [kWh]."""
    electrical_kwh: float | None
    """∫P dt from the supply [kWh]."""
    cost: float | None
    """Of the electrical energy [`currency`]; None without a price."""
    currency: str
    """As the scenario says it."""
    volume_m3: float | None
    """Actual volume at the fans' inlets [m³]; backward flow counts against it."""
    kwh_per_1000_m3: float | None
    """Electrical [kWh/1000 m³]."""
    fan_efficiency_percent: float | None
    """Static, average over the run [%]: ∫Q·Δp·Kp dt of forward flow over the energy at the
    shaft."""
    reasons: Reasons = field(default_factory=dict)
    """Why a number is None, by its name."""


@dataclass(frozen=True)
class Event:
    """One excursion from start to end. `moving`: what moved in the seconds before its start."""

    kind: str
    """Such as "surge" or "motor overload"."""
    where: str
    """The fan or the loop."""
    start_s: float
    """[s]."""
    end_s: float
    """[s]."""
    duration_s: float
    """[s]."""
    crossings: int
    """Times it went beyond the limit within the event [1]."""
    depth: float | None
    """How far beyond the limit at most [`depth_unit`]; of surge, the largest swing of flow."""
    depth_unit: str
    """Unit of `depth`."""
    moving: str
    """The elements that moved in the seconds before its start."""
    after: str
    """The last line of the run's log before it, and when that was."""
    still_on_at_end: bool
    """Whether the run ended before it did."""
    reasons: Reasons = field(default_factory=dict)
    """Why a number is None, by its name."""


@dataclass(frozen=True, kw_only=True)
class Surge(Event):
    """An episode of surge cycles; `crossings` counts them too."""

    cycles: int
    """Surge cycles [1]."""
    frequency_hz: float | None
    """Of the cycles [Hz]; None for a single one."""
    flow_swing_m3_s: float
    """Largest, of the flow [m³/s]."""
    lowest_flow_m3_s: float
    """[m³/s]; negative is backward."""
    pressure_swing_pa: float
    """Largest, of the pressure rise [Pa]."""


@dataclass(frozen=True)
class Apart:
    """What a fan did that is no excursion of the control strategy, and is not in the verdict."""

    when: str
    """"while the motor was off" or "during a start or a stop"."""
    lasts_s: float
    """All such time of the run [s]."""
    surge_cycles: int | None
    """In it [1]; None without a stall line."""
    time_left_of_peak_s: float | None
    """With Q < Q_stall [s]; None without a stall line."""
    reverse_flow_s: float
    """With Q < 0 [s]."""
    highest_motor_load_percent: float
    """Of what the motor may give for good [%]."""
    events: tuple[Event, ...]
    """Stall, surge and backward flow, in the order of time."""
    reasons: Reasons = field(default_factory=dict)
    """Why a number is None, by its name."""


@dataclass(frozen=True)
class Excursions:
    """Judged on the fan's true flow. With several fans, each number is that of the worst."""

    lowest_stall_margin_percent: float | None
    """(Q − Q_stall)/Q at the same speed and inlet setting [%]."""
    lowest_stall_margin_at_s: float | None
    """When it was lowest [s]."""
    lowest_flow_over_stall_percent: float | None
    """Q/Q_stall [%], backward flow included."""
    time_left_of_peak_s: float | None
    """With Q < Q_stall [s]."""
    stall_basis: str
    """"the maker's stall point" or "peak of the curve"."""
    surge_cycles: int | None
    """Of the whole run [1]."""
    surge_swing_m3_s: float | None
    """Smallest swing that counts [m³/s]."""
    longest_surge_cycle_s: float
    """Widest valley that counts [s]."""
    reverse_flow_s: float | None
    """With Q < 0 [s]."""
    highest_motor_load_percent: float | None
    """Of what the motor may give for good [%]."""
    highest_speed_percent: float | None
    """Of rated speed [%]."""
    highest_pressure_pa: float | None
    """Of the volume over its surroundings [Pa]."""
    lowest_pressure_pa: float | None
    """Of the volume over its surroundings [Pa]."""
    merged_below_s: float
    """Events of a kind with less time between them are one [s]."""
    events: tuple[Event, ...]
    """All kinds, in the order of time."""
    events_not_listed: int
    """More than the list holds [1]."""
    apart: tuple[Apart, ...] = ()
    """What happened while the motor was off, or during a start or a stop."""
    reasons: Reasons = field(default_factory=dict)
    """Why a number is None, by its name."""


@dataclass(frozen=True)
class Travel:
    """How much one element was moved, in percent of its stroke (a drive: of rated speed)."""

    travel_percent: float | None
    """Σ|Δy| [%]."""
    reversals: int | None
    """Turns of direction [1]."""
    dead_band_percent: float
    """A turn counts once the element has moved back by more than this [%]."""
    time_at_limits_s: float | None
    """[s]."""


@dataclass(frozen=True)
class Measures:
    """All that is measured of one run."""

    tracking: Tracking
    """How the setpoint was held."""
    energy: Energy
    """What it took."""
    excursions: Excursions
    """Where it left stable operation."""
    travel: Mapping[str, Travel]
    """Element → how much it was moved."""
    audit: Audit
    """The run's account of its own arithmetic."""
