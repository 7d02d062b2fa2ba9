"""Where each method puts the fan over its range: operating points, what ends them, and what a year
costs. Knows nothing of how it was found. SI."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

STABLE, STATICALLY_UNSTABLE, DYNAMICALLY_UNSTABLE = (
    "stable", "statically unstable", "dynamically unstable")
"""Words for a point: it stays; it slides away to another point; it swings ever wider."""


@dataclass(frozen=True)
class OperatingPoint:
    """One steady solution with the elements standing where a controller output puts them."""

    held: float
    """What the loop holds [m³/s, kg/s or Pa]."""
    output: float
    """Of the controller, 0 to 1 [1]."""
    positions: Mapping[str, float]
    """Element → where it stands, 0 to 1 [1]; for a drive, share of rated speed."""
    blade_angles: Mapping[str, float]
    """Element with blades → their angle from open [°]."""
    taken: Mapping[str, float]
    """Element with blades → pressure it takes from the air [Pa]."""
    flow: float
    """At the wheel's inlet [m³/s]."""
    mass_flow: float
    """[kg/s]."""
    pressure: float
    """Static pressure rise of the wheel [Pa]."""
    volume_pressure: float
    """Of the volume, against the air around it [Pa]."""
    density: float
    """At the wheel's inlet [kg/m³]."""
    speed: float
    """Over rated speed [1]."""
    stall_flow: float | None
    """Of the stall line at this speed and inlet setting [m³/s]; None where there is none."""
    shaft_power: float
    """[W]."""
    electrical_power: float
    """From the supply [W]."""
    current: float
    """Of the line, at the nameplate's power factor [A]."""
    motor_load: float
    """Over what the motor may give for good [1]."""
    efficiency: float | None
    """Static, of the wheel, with the air's compression [1]; None without forward flow."""
    stability: str
    """By the eigenvalues of the assembled plant with its elements standing still."""
    fan_slope: float
    """F′: of all in the fan's branch, pressure given over volume flow at the wheel [Pa s/m³]."""
    system_slope: float
    """S′: of all behind or before the storage, pressure needed over the same flow [Pa s/m³]."""
    critical_volume: float | None
    """V = (ρc)²(L/A)/(F′S′) beyond which the point swings [m³]; None where F′ ≤ 0, any volume is
    stable then. A lag of the wheel's pressure is not in it: the cautious side."""
    gain: float | None = None
    """∂(held)/∂(output) along the range [held unit]; None where it was not asked for or the output
    has no effect."""
    missed: tuple[str, ...] = ()
    """Limits this point is beyond, in plain words."""
    reached: bool = True
    """Whether a start with the output raised slowly from its low end comes to rest here."""

    @property
    def stable(self) -> bool:
        """Neither slides away nor swings."""
        return self.stability == STABLE

    @property
    def stall_margin(self) -> float | None:
        """(Q − Q_stall)/Q [1]; None where there is no line or no forward flow."""
        if self.stall_flow is None or self.flow <= 0.0:
            return None
        return (self.flow - self.stall_flow) / self.flow

    @property
    def specific_energy(self) -> float | None:
        """P_el/Q [J/m³]; None without forward flow."""
        return self.electrical_power / self.flow if self.flow > 0.0 else None


@dataclass(frozen=True)
class Turndown:
    """How far a method goes, and what ends it."""

    highest: OperatingPoint | None
    """Best point within all limits; None where no point is."""
    lowest: OperatingPoint | None
    ended_above_by: str
    ended_below_by: str

    @property
    def ratio(self) -> float | None:
        """Highest held value over lowest; None where either is missing or not above zero."""
        if self.highest is None or self.lowest is None or self.lowest.held <= 0.0:
            return None
        return self.highest.held / self.lowest.held


@dataclass(frozen=True)
class Curve:
    """A line on the pressure–flow plane, with what it is."""

    what: str
    flow: tuple[float, ...]
    """At the wheel's inlet [m³/s]."""
    pressure: tuple[float, ...]
    """[Pa]."""


@dataclass(frozen=True)
class Setting:
    """Where two elements stand to give a flow and a pressure at once, whatever process takes
    them."""

    positions: Mapping[str, float]
    """Element → where it stands, 0 to 1 [1]; for a drive, share of rated speed."""
    speed: float
    """Over rated speed [1]."""
    electrical_power: float
    """[W]."""
    motor_load: float
    """Over what the motor may give for good [1]."""
    stall_margin: float | None
    """(Q − Q_stall)/Q [1]; None where there is no line."""


@dataclass(frozen=True)
class Region:
    """What a method can reach on the plane of flow and volume pressure, whatever process it meets,
    within the limits of stall, motor and speed."""

    flow: tuple[float, ...]
    """At the wheel's inlet [m³/s]."""
    lowest: tuple[float | None, ...]
    """Pressure of the volume against the air around it [Pa]; None where no setting serves."""
    highest: tuple[float | None, ...]
    """The same, highest [Pa]."""
    highest_at: tuple[Mapping[str, float] | None, ...]
    """Where the elements stand for the highest pressure."""
    rated_open: tuple[float | None, ...] = ()
    """The same at rated speed with everything open, within the same limits [Pa]."""


@dataclass(frozen=True)
class Band:
    """The lowest and highest of an answer over the days and the curve's tolerance stated."""

    low: float
    """[unit of the answer]."""
    high: float
    """[unit of the answer]."""
    low_in: str
    """The case that gave it, such as "coldest day, curve high"."""
    high_in: str
    kind: str = ""
    """Kind of unit: "volume flow", "mass flow", "pressure", "power" or "fraction"."""


@dataclass(frozen=True)
class StrategyMap:
    """One strategy over its range."""

    name: str
    method: str
    elements: tuple[str, ...]
    points: tuple[OperatingPoint, ...]
    """By falling flow; of one output several may stand here, each where its flow belongs."""
    others: tuple[OperatingPoint, ...]
    """Further solutions at the outputs of the points."""
    turndown: Turndown
    curves: tuple[Curve, ...]
    """The fan's curve at several settings."""
    stall_line: Curve | None
    region: Region | None = None
    bands: Mapping[str, Band] = field(default_factory=dict)
    """By the name of the answer."""
    best_path: "BestPath | None" = None
    findings: tuple[str, ...] = ()
    """What cannot be answered, and why."""

    @property
    def gain_ratio(self) -> float | None:
        """Largest over smallest process gain within the limits; None with fewer than two."""
        gains = [abs(p.gain) for p in self.points if p.gain and not p.missed]
        return max(gains) / min(gains) if len(gains) > 1 else None

    def column(self, name: str) -> np.ndarray:
        """(n_points,) one number of every point; nan where there is none."""
        return column(self.points, name)


@dataclass(frozen=True)
class Share:
    """One way of sharing a target between two elements, beside the best."""

    name: str
    held: tuple[float, ...]
    """[m³/s, kg/s or Pa]."""
    electrical_power: tuple[float, ...]
    """[W]; nan where this way does not reach."""
    stall_margin: tuple[float, ...]
    """[1]; nan where there is no line."""
    gain_ratio: float | None
    """Largest over smallest process gain [1]."""


@dataclass(frozen=True)
class BestPath:
    """The settings of two elements that take the least electrical power over the range."""

    held: tuple[float, ...]
    """Values of what the loop holds at which it was sought, falling [m³/s, kg/s or Pa]."""
    electrical_power: tuple[float, ...]
    """Least within the limits [W]."""
    table: Mapping[str, tuple[float, ...]]
    """The sequence table: controller "output" and, by element, its demand [1]."""
    excess: float
    """Largest power of the table over the least, less one [1], where both are within limits."""
    ways: tuple[Share, ...]


@dataclass(frozen=True)
class OperatingMap:
    """The answer of a scenario, for every strategy."""

    title: str
    holds: str
    held_kind: str
    strategies: tuple[StrategyMap, ...]
    system: Curve
    assumed: tuple[str, ...]
    file: str | None = None
    fingerprint: str | None = None


def column(points: Sequence[OperatingPoint], name: str) -> np.ndarray:
    """(n_points,) one number of every point; nan where there is none."""
    values = [getattr(p, name) for p in points]
    return np.array([np.nan if v is None else v for v in values], dtype=float)
