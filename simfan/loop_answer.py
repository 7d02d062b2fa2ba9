"""What was found of each strategy's loop: process over the range, tunings, margins. SI; knows
nothing of how it was found."""

from collections.abc import Mapping
from dataclasses import dataclass, field


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
class LoopTuning:
    """One tuning, judged over the range as it is typed in."""

    name: str
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
    findings: tuple[str, ...] = ()

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
