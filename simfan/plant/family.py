"""A fan measured with its vanes at several openings: a family of curves."""

from collections.abc import Iterator, Sequence
from typing import Annotated, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.points import below_air_power, not_as_many, not_rising, value_at
from simfan.plant.quantities import (
    Description,
    Limits,
    PowerList,
    PressureList,
    Quantity,
    Share,
    VolumeFlowList,
    refuse,
)
from simfan.units import show

FEWEST_POINTS, MOST_POINTS = 4, 1000
FEWEST_CURVES, MOST_CURVES = 3, 50
CROSSING = 0.005
"""Curves may lie so far on the wrong side of one another, of the highest pressure: reading
accuracy of a printed sheet; an assumption."""


class MeasuredCurve(Description):
    """The fan's curve at one opening of its vanes, at the fan's rated speed and density."""

    opening: Share
    """Of the vanes, 100 % wide open."""
    flow: VolumeFlowList
    """At the inlet of the whole, rising; four points at least."""
    static_pressure: PressureList
    """Of fan and vanes together."""
    shaft_power: PowerList
    stall_flow: Annotated[float, Quantity("volume flow", Limits(above=0.0, most=1e5))] | None = None
    """The maker's stall point at this opening. Default: the peak of the curve is taken for it,
    which is "left of the peak", not proof of stall; an assumption."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*self._points_amiss(), *self._stall_amiss()])
        return self

    def _points_amiss(self) -> Iterator[Problem]:
        n = len(self.flow)
        if not FEWEST_POINTS <= n <= MOST_POINTS:
            yield Problem(("flow", "values"), f"{n} points",
                          f"{FEWEST_POINTS} to {MOST_POINTS} points")
        yield from not_rising(self.flow, ("flow", "values"), "volume flow")
        for name, values in (("static_pressure", self.static_pressure),
                             ("shaft_power", self.shaft_power)):
            yield from not_as_many(values, (name, "values"), n, "flow")
        if self.static_pressure and max(self.static_pressure) <= 0.0:
            yield Problem(("static_pressure", "values"), "no value above zero",
                          "the pressure rise of the fan with its vanes")
        yield from below_air_power(self.flow, self.static_pressure, self.shaft_power)

    def _stall_amiss(self) -> Iterator[Problem]:
        if self.stall_flow is None or not self.flow:
            return
        if not self.flow[0] <= self.stall_flow < self.flow[-1]:
            yield Problem(("stall_flow",), show(self.stall_flow, "volume flow"),
                          f"a flow from the first to below the last point, "
                          f"{show(self.flow[0], 'volume flow')} to "
                          f"{show(self.flow[-1], 'volume flow')}")


def family_amiss(family: Sequence[MeasuredCurve]) -> Iterator[Problem]:
    """What is wrong between curves that are sound in themselves; paths count from the list."""
    if not FEWEST_CURVES <= len(family) <= MOST_CURVES:
        yield Problem((), f"{len(family)} openings", f"{FEWEST_CURVES} to {MOST_CURVES} openings")
    for place, curve in enumerate(family[1:], start=1):
        before = family[place - 1].opening
        if curve.opening <= before:
            yield Problem((place, "opening"),
                          f"{show(curve.opening, 'fraction')} after {show(before, 'fraction')}",
                          "each opening above the one before it")
            return
    if family and family[-1].opening < 1.0 - 1e-9:
        yield Problem((len(family) - 1, "opening"), show(family[-1].opening, "fraction"),
                      "100 %, the last opening")
    yield from _crossings(family)


def _crossings(family: Sequence[MeasuredCurve]) -> Iterator[Problem]:
    """Pressure at the same flow must not rise as the vanes close: the worst point of a curve."""
    slack = CROSSING * max((max(c.static_pressure) for c in family), default=0.0)
    for place, closed in enumerate(family):
        above = [(pressure - limit, flow, pressure, limit, curve.opening)
                 for curve in family[place + 1:]
                 for flow, pressure, limit in _where_both_exist(closed, curve)]
        worst = max(above, default=(0.0, 0.0, 0.0, 0.0, 0.0))
        if worst[0] > slack:
            _, flow, pressure, limit, opening = worst
            nearest = min(range(len(closed.flow)), key=lambda k: abs(closed.flow[k] - flow))
            yield Problem(
                (place, "static_pressure", "values", nearest),
                f"{show(pressure, 'pressure', digits=4)} at {show(flow, 'volume flow', digits=4)}, "
                f"{show(closed.opening, 'fraction')} open",
                f"at most {show(limit, 'pressure', digits=4)}, the curve at "
                f"{show(opening, 'fraction')} open there",
                "curves must not cross: at one flow the pressure falls as the vanes close")


def _where_both_exist(
    closed: MeasuredCurve, opened: MeasuredCurve
) -> Iterator[tuple[float, float, float]]:
    """(flow, pressure of the one, pressure of the other) at every point of either in both."""
    for flow in sorted({*closed.flow, *opened.flow}):
        one = value_at(flow, closed.flow, closed.static_pressure)
        other = value_at(flow, opened.flow, opened.static_pressure)
        if one is not None and other is not None:
            yield flow, one, other
