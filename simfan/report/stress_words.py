"""Words for what a search varies and requires."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np

from simfan.report import ink
from simfan.stress_answer import Input, RampLimits, Requirement
from simfan.units import System, convert, preferred, show, significant

REQUIRED = {
    "time_outside_band": "Time outside the band",
    "overshoot": "Overshoot",
    "settling_time": "Settling time",
    "stall_margin": "Stall margin",
    "surge_cycles": "Surge cycles",
    "motor_load": "Motor load",
    "speed": "Speed",
    "highest_pressure": "Pressure of the volume",
    "lowest_pressure": "Pressure of the volume",
    "locked_rotor_time": "Rotor heat of a start, of its limit,",
}
"""Name of a requirement → what is asked about."""
NONE_OF_IT = {"surge_cycles": "No surge cycle", "trips": "No trip",
              "procedures": "Procedures complete"}
"""The same where its limit is none at all."""
MOVED = {"from": "Setpoint before the move", "to": "Setpoint after the move",
         "over": "Length of the ramp"}
SHARES = 101
DIGITS = 4
"""Of a value."""


@dataclass(frozen=True)
class Scale:
    """One thing that is varied, in the reader's unit."""

    words: str
    """Name and unit, for an axis."""
    values: np.ndarray
    """(k,) at even shares of its distribution, from 0 to 1."""

    def at(self, shares: np.ndarray) -> np.ndarray:
        """Values at coordinates of the unit cube."""
        return np.interp(shares, np.linspace(0.0, 1.0, len(self.values)), self.values)


def required(requirement: Requirement, system: System) -> str:
    """Such as "Overshoot at most 10 %"."""
    name = REQUIRED.get(requirement.name, requirement.name.replace("_", " "))
    if requirement.unit == "Pa":
        limit = show(requirement.limit, "pressure", system)
    else:
        limit = f"{significant(requirement.limit)} {requirement.unit}".rstrip()
    if requirement.name in NONE_OF_IT and not requirement.limit:
        return NONE_OF_IT[requirement.name]
    return f"{name} at {requirement.at} {limit}"


def left_out(limits: RampLimits, names: Sequence[str]) -> Iterator[str]:
    """What no ramp cures, and on how many of the plants; nothing where there is no such plant."""
    if limits.left_out is None or not limits.left_out.any():
        return
    low, high = (int(end(limits.left_out[~np.eye(limits.setpoints.size, dtype=bool)]))
                 for end in (np.min, np.max))
    many = f"{high}" if low == high else f"{low} to {high}"
    what = " and ".join(f'"{names[k]}"' for k in limits.uncured)
    yield (f"Left out of a move: {many} of the {limits.plants} plants, which break {what} even in "
           "the slowest ramp. That is no matter of ramps.")


def varied(one: Input) -> str:
    """The name of an input; a path of the scenario stays as it is."""
    return MOVED.get(one.name, one.name)


def value(one: Input, at: float, system: System) -> str:
    """Of an input, in the reader's unit."""
    return show(at, one.kind, system, digits=DIGITS) if one.kind else significant(at, DIGITS)


def value_within(one: Input, at: float, nominal: float, system: System) -> str:
    """The same of a value above zero, rounded toward the nominal one."""
    unit = preferred(one.kind, system) if one.kind else ""
    counted = convert(at, one.kind, unit) if one.kind else at
    inward = rounded(counted, DIGITS, floor if at > nominal else ceil)
    return f"{significant(inward, DIGITS)} {unit}".rstrip()


def axis(one: Input, system: System) -> Scale:
    """An input over its distribution, in the reader's unit."""
    values = np.array([one.value(u) for u in np.linspace(0.0, 1.0, SHARES)])
    if one.kind is None:
        return Scale(varied(one), values)
    return Scale(f"{varied(one)} [{ink.typeset(preferred(one.kind, system))}]",
                 np.asarray(ink.shown(values, one.kind, system)))


def rounded_down(rate: float) -> str:
    """To two digits, never up: a limit must not grow by being written."""
    return f"{rounded(rate, 2, floor):.{max(1 - floor(log10(rate)), 0)}f}"


def rounded(value: float, digits: int, to: Callable[[float], int]) -> float:
    """A value above zero to so many digits, by `floor` or `ceil`; what is there but for the last
    bits stays."""
    places = digits - 1 - floor(log10(value))
    scaled = value * 10.0**places
    whole = round(scaled) if abs(scaled - round(scaled)) < 1e-9 * 10**digits else to(scaled)
    return float(whole / 10.0**places)
