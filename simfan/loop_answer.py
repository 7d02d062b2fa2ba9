"""What was found of each strategy's loop: process over the range, tunings, margins. SI; knows
nothing of how it was found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

Array = np.ndarray

GIVEN, ROBUST = "as given", "robust"
"""Names of tunings beside those of the rules."""


@dataclass(frozen=True)
class LoopPoint:
    """The loop's process at one steady point."""

    held: float
    """[m³/s, kg/s or Pa]."""
    flow: float
    """At the wheel [m³/s]."""
    output: float
    """Of the controller [1]."""
    gain: float
    """Percent of span per percent of output [1]."""
    lag: float | None
    """Dominant lag τ [s]; None where the point is unstable."""
    dead_time: float | None
    """Effective dead time θ [s]; None where the point is unstable."""
    stable: bool
    """Whether the plant is, its elements standing still."""
    sensitivity: Mapping[str, float | None]
    """Tuning → |S| at its peak here [1]; None where that loop is unstable."""


@dataclass(frozen=True)
class LoopCurves:
    """What a tuning's pictures are drawn from, a row for each point of the range."""

    omega: Array
    """(n,) [rad/s], up to half the scan's frequency."""
    loop: Sequence[Array]
    """(n_points, n) L, the open loop as the scans see it [1]."""
    time: Array
    """(m,) since a setpoint step [s]."""
    steps: Sequence[Array | None]
    """(n_steps, m) reading after a setpoint step of one, small moves [1]; None for an unstable
    loop."""
    steps_at: Sequence[int]
    """(n_steps,) places of the points of the range that they belong to [1]."""


@dataclass(frozen=True)
class LoopRun:
    """A run of the whole plant with one tuning: a setpoint step at mid-range, then a load step."""

    time: Array
    """(n,) [s]."""
    setpoint: Array
    """(n,) [held unit]."""
    value: Array
    """(n,) true value [held unit]."""
    output: Array
    """(n,) of the controller [1]."""
    step_at: float
    """Of the setpoint [s]."""
    load_at: float
    """Of the process resistance [s]."""
    setpoint_iae: float | None
    """∫|e| dt after the setpoint step [% s]."""
    overshoot: float | None
    """Of the setpoint step [%]."""
    settling: float | None
    """After the setpoint step [s]."""
    load_iae: float | None
    """∫|e| dt after the load step [% s]."""
    load_deviation: float | None
    """Largest |e| after the load step [%]."""
    percent_of: str
    """What 100 % is in the integrals and the deviation; overshoot is of the step."""
    reasons: Mapping[str, str] = field(default_factory=dict)
    """Why a number is None, by its name in the JSON."""


@dataclass(frozen=True)
class RulePoint:
    """The point of the range at which the rules were applied, and what they were told of it."""

    held: float
    """[held unit]."""
    flow: float
    """At the wheel [m³/s]."""
    gain: float
    """Percent of span per percent of output [1]."""
    lag: float
    """τ [s]."""
    dead_time: float
    """θ with half a scan for the hold [s]."""
    second: tuple[float, float, float] | None
    """(τ₁, τ₂, θ) of a second order [s], the half scan in θ too; None where no rule asked."""
    ultimate_gain: float | None
    """Ku [1]; None where no gain makes it swing."""
    ultimate_period: float | None
    """Pu [s]."""
    why: str
    """Why this point, in words."""


@dataclass(frozen=True)
class LoopTuning:
    """One tuning, judged over the range as it is typed in."""

    name: str
    """"as given", "robust", or the rule it comes from."""
    gain: float
    """Kc of the standard form [% of output per % of span]."""
    reset: float
    """Ti [s]."""
    derivative: float
    """Td [s]."""
    derivative_filter: float
    """N [1]."""
    sensitivity: float | None
    """Ms, the largest over the stable points [1]; None where a loop is unstable."""
    worst_at: float
    """Held value of the point with the largest |S| [held unit]."""
    complementary: float | None
    """Mt [1]."""
    gain_margin: float | None
    """Least over the points [1]."""
    phase_margin: float | None
    """Least [rad]."""
    delay_margin: float | None
    """Largest extra dead time that every point bears [s]."""
    unstable_at: tuple[float, ...]
    """Held values at which the loop is unstable [held unit]."""
    largest_step: float
    """Largest setpoint step whose first move every element's rate limit still follows within one
    over the crossover frequency [held unit]; beyond it the margins say too much."""
    full_travel: float | None = None
    """Shortest time for the output from 0 to 100 %, as the elements follow it [s]: so that a large
    move does not wind the controller up. None where there is no limit, or the scenario's own
    stands."""
    curves: LoopCurves | None = None
    """None where no picture was asked for."""
    run: LoopRun | None = None
    """None where no run was asked for, or it could not be made."""

    @property
    def load_rejection(self) -> float:
        """Ti/Kc, the integral of the error after a load step of one at the output [s]."""
        return self.reset / self.gain


@dataclass(frozen=True)
class StrategyLoop:
    """One strategy."""

    name: str
    method: str
    action: str
    """"reverse" where more output raises the value, else "direct"."""
    points: tuple[LoopPoint, ...] = ()
    """By falling held value."""
    tunings: tuple[LoopTuning, ...] = ()
    """As given where the scenario gives one, robust where one was found, then the rules."""
    findings: tuple[str, ...] = ()
    rule_point: RulePoint | None = None
    """None where no rule was asked for."""
    not_applied: Mapping[str, str] = field(default_factory=dict)
    """Rule → why it could not be applied."""
    structure: str = "one loop"
    tag: str = ""
    """The scenario's, else one after ISA-5.1, such as "FIC-1"."""
    ways: "tuple[Way, ...]" = ()
    """Beside one tuning for the whole range; none where none was asked for or is worth it."""
    pairing: "Pairing | None" = None
    """With a loop beside; None where there is none."""

    @property
    def recommended(self) -> LoopTuning | None:
        """The robust tuning; where there is none the given one, which is then not recommended but
        all there is."""
        order = {t.name: t for t in self.tunings}
        return order.get(ROBUST) or order.get(GIVEN)

    @property
    def gain_ratio(self) -> float | None:
        """Largest over smallest process gain of the stable points [1]."""
        gains = [abs(p.gain) for p in self.points if p.stable and p.gain]
        return max(gains) / min(gains) if gains else None


@dataclass(frozen=True)
class LoopAnswer:
    """The answer of a scenario, for every strategy."""

    title: str
    holds: str
    held_kind: str
    span: tuple[float, float]
    """Low and high end of the transmitter's span [held unit]."""
    scan: float
    """[s]."""
    low: float
    """Lower end of the common range [held unit]."""
    high: float
    """Its upper end [held unit]."""
    target: float
    """Ms that the tuning over the range keeps [1]."""
    strategies: tuple[StrategyLoop, ...]
    file: str | None = None
    fingerprint: str | None = None
    assumed: tuple[str, ...] = field(default=())
    """What the margins rest on."""
    runs: str = ""
    """The steps that every tuning was run through, in words; "" where none was."""


@dataclass(frozen=True)
class Served:
    """How one controller, or a schedule of them, serves a range: over its stable points."""

    gain_ratio: float
    """Largest over smallest gain of the loop, process times controller [1]."""
    sensitivity: float | None
    """Ms, the largest [1]; None where a loop is unstable."""
    load_error: float
    """Largest Ti/(Kc·K): integral of the error after a load step that would move the held value by
    one unit if nothing were done [unit·s per unit]."""


@dataclass(frozen=True)
class Schedule:
    """Gains that follow a slow variable, straight lines between its breakpoints."""

    on: str
    """"held": the value held, or its setpoint; "output": the controller's own output."""
    at: tuple[float, ...]
    """Breakpoints, rising [held unit, or 1 for an output]."""
    gain: tuple[float, ...]
    """Kc at each [% of output per % of span]."""
    reset: tuple[float, ...]
    """Ti at each [s]."""
    before: Served
    """With the one robust tuning for the whole range."""
    after: Served
    sensitivity: tuple[float | None, ...]
    """Ms at each point of the range with the gains there [1]; None where it is unstable."""


@dataclass(frozen=True)
class Characterised:
    """A table between output and element that makes the process gain the same over the range, and
    the one tuning that serves then."""

    output: tuple[float, ...]
    """Of the controller, from 0 to 1 [1]."""
    element: tuple[float, ...]
    """What goes on to the element, or to the sequence of two, at each output [1]."""
    gain: float
    """Kc [% of output per % of span]."""
    reset: float
    """Ti [s]."""
    before: Served
    """With the one robust tuning without the table."""
    after: Served


@dataclass(frozen=True)
class Pairing:
    """How a loop gets on with the one beside it."""

    relative_gains: tuple[float, ...]
    """λ of the pairing as it is, at each point of the range [1]; none for mid-ranging."""
    largest_singular_value: float | None
    """max σ̄(S) of both loops over the stable points [1]; None for mid-ranging."""
    crossover: float | None
    """Highest of the first loop [rad/s]."""
    other_crossover: float | None
    """Highest of the other one [rad/s]."""
    said: tuple[str, ...] = ()
    """What follows from it."""


@dataclass(frozen=True)
class Way:
    """A way beside one tuning for the whole range."""

    name: str
    """"gain schedule" or "characteriser"."""
    before: Served
    """With the one robust tuning."""
    after: Served
    schedule: Schedule | None = None
    characterised: Characterised | None = None
    curves: LoopCurves | None = None
    """None where no picture was asked for."""
