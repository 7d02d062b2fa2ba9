"""What a strategy does at demands between the points of its operating map."""

from dataclasses import dataclass

import numpy as np

from simfan.operating_map import OperatingPoint, StrategyMap, column

NEAR = 1e-9
"""Of the range: a demand this close to its end is at the end."""
ROUNDING = 1e-6
"""Of what is held: to go back by less is no turn."""
NO_START = "a start does not come to rest there"


@dataclass(frozen=True)
class Met:
    """A strategy at n demands."""

    kw: np.ndarray
    """(n,) electrical power [kW]; 0 where the fan stands, nan where the demand is not reachable."""
    shaft_kw: np.ndarray
    """(n,) the same of the shaft [kW]."""
    flow: np.ndarray
    """(n,) at the wheel's inlet [m³/s], likewise."""
    standing: np.ndarray
    """(n,) a demand of no flow."""
    missed: np.ndarray
    """(n,) whether a limit is missed at the demand, or at a neighbour that is not an end of the
    strategy's turndown."""
    limits: str
    """The limits missed at any of the demands, in plain words."""
    turns_back: bool
    """Whether points were left out because what is held turns back over the range."""

    @property
    def served(self) -> np.ndarray:
        """(n,) reachable, or standing."""
        return np.isfinite(self.kw)


def met(found: StrategyMap, demand: np.ndarray, holds_flow: bool) -> Met:
    """The strategy at (n,) demands [held unit], on straight lines between its points."""
    points, turns_back = one_way(_with_ends(found))
    standing = (demand == 0.0) if holds_flow else np.zeros(demand.size, dtype=bool)
    held = column(points, "held")
    shaft, kw, flow = (
        np.where(standing, 0.0, _between(held, factor * column(points, name), demand))
        for name, factor in (("shaft_power", 1e-3), ("electrical_power", 1e-3), ("flow", 1.0)))
    about = _about(points, held, demand)
    missed = (about >= 0) & ~standing & np.isfinite(kw)
    words = [w for k in np.unique(about[missed]) for w in _limits(points[k])]
    return Met(kw, shaft, flow, standing, missed, ", ".join(dict.fromkeys(words)), turns_back)


def one_way(points: tuple[OperatingPoint, ...]) -> tuple[tuple[OperatingPoint, ...], bool]:
    """The points by rising held value, from the one with most flow on, without those at which what
    is held has turned back; whether there were any."""
    if len(points) < 2:
        return points, False
    sign = 1.0 if points[-1].held > points[0].held else -1.0
    kept, turned = [points[0]], False
    for point in points[1:]:
        further = sign * (point.held - kept[-1].held)
        turned |= further < -ROUNDING * abs(kept[-1].held)
        if further > 0.0:
            kept.append(point)
    return tuple(kept if sign > 0.0 else kept[::-1]), turned


def power_error(found: StrategyMap) -> float | None:
    """Largest 100·|P_line/P − 1| [%] at every second point, the line drawn through the others."""
    points, _ = one_way(found.points)
    held, power = column(points, "held"), column(points, "electrical_power")
    if held.size < 3:
        return None
    line = np.interp(held[1:-1:2], held[::2], power[::2])
    return 100.0 * float(np.max(np.abs(line / power[1:-1:2] - 1.0)))


def _with_ends(found: StrategyMap) -> tuple[OperatingPoint, ...]:
    """The points and the ends of the turndown, which lie between points, by falling flow."""
    held = {p.held for p in found.points}
    ends = [p for p in (found.turndown.highest, found.turndown.lowest) if p and p.held not in held]
    return tuple(sorted((*found.points, *ends), key=lambda p: -p.flow))


def _between(held: np.ndarray, values: np.ndarray, demand: np.ndarray) -> np.ndarray:
    """Straight lines over rising held values; nan outside."""
    if held.size == 0:
        return np.full(demand.shape, np.nan)
    slack = NEAR * max(abs(held[0]), abs(held[-1]))
    within = (demand >= held[0] - slack) & (demand <= held[-1] + slack)
    return np.where(within, np.interp(demand, held, values), np.nan)


def _about(points: tuple[OperatingPoint, ...], held: np.ndarray, demand: np.ndarray) -> np.ndarray:
    """(n,) place of a point beyond a limit beside each demand, or at it; -1 where none is."""
    if held.size == 0:
        return np.full(demand.shape, -1)
    bad = np.array([bool(_limits(p)) for p in points])
    left = np.clip(np.searchsorted(held, demand, side="right") - 1, 0, held.size - 1)
    right = np.clip(np.searchsorted(held, demand, side="left"), 0, held.size - 1)
    return np.where(bad[left], left, np.where(bad[right], right, -1))


def _limits(point: OperatingPoint) -> tuple[str, ...]:
    return point.missed if point.reached else (*point.missed, NO_START)
