"""The fan as its maker describes it: a rated curve and a wheel."""

from collections.abc import Iterator
from typing import Annotated, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.points import below_air_power, not_as_many, not_rising
from simfan.plant.quantities import (
    Area,
    Density,
    Description,
    Inertia,
    Limits,
    PowerList,
    PressureList,
    Quantity,
    Share,
    Speed,
    VolumeFlowList,
    refuse,
)
from simfan.units import show

FEWEST_POINTS, MOST_POINTS = 5, 1000


class Rated(Description):
    """The speed and density at which the curve was drawn."""

    speed: Speed
    density: Density


class Fan(Description):
    """Rated points: inlet volume flow, fan static or total pressure, shaft power."""

    rated: Rated
    flow: VolumeFlowList
    """At the fan's inlet, rising; five points at least."""
    static_pressure: PressureList | None = None
    """Fan static pressure at each flow; or give `total_pressure`."""
    total_pressure: PressureList | None = None
    """Fan total pressure at each flow; or give `static_pressure`."""
    shaft_power: PowerList
    outlet_area: Area | None = None
    """Needed with `total_pressure`: static = total − ½ρ(Q/A)²."""
    inertia: Inertia
    """Of the whole rotor (wheel, shaft, coupling, motor) at the fan's speed."""
    max_safe_speed: Speed
    """Of the wheel, as its maker states it."""
    stall_flow: Annotated[float, Quantity("volume flow", Limits(above=0.0))] | None = None
    """The maker's stall point at rated speed. Default: the peak of the curve is taken for it,
    which is "left of the peak", not proof of stall; an assumption."""
    shutoff_pressure: Annotated[float, Quantity("pressure", Limits(above=0.0, most=1e5))] | None = (
        None
    )
    """At zero flow, where the points do not reach it."""
    design_flow: Annotated[float, Quantity("volume flow", Limits(above=0.0, most=1e5))] | None = (
        None
    )
    """Q_d, to which inlet vanes are referred. Default: the best efficiency point of the rated
    points; an assumption."""
    power_floor: Share = 0.30
    """Least shaft power in forward flow, of that at shut-off at the same speed and density.
    Default: from memory."""
    pressure_lag: Annotated[float, Quantity("time", Limits(least=0.0, most=10.0))] = 0.0
    """Lag of the pressure rise behind its steady curve. Default: off, the cautious choice: a lag
    raises the volume at which a fan begins to surge; an assumption."""
    tolerance: Annotated[float, Quantity("fraction", Limits(least=0.0, most=0.2))] = 0.0
    """Of the maker's curve: pressure and power at equal flow may differ by so much either way, and
    the operating map tells its answers as bands over it. ISO 13348 grades makers' curves, from
    AN1 to AN4 ±1, ±2.5, ±5 and ±10 % of pressure; from memory. Default: none, the curve is taken
    as it stands; an assumption."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*self._points_amiss(), *self._wheel_amiss()])
        return self

    @property
    def pressure(self) -> tuple[float, ...]:
        """The pressures given, static or total [Pa]."""
        return self.static_pressure or self.total_pressure or ()

    @property
    def static(self) -> tuple[float, ...]:
        """Static pressures [Pa]: as given, or total pressure less ½ρ(Q/A)²."""
        if self.static_pressure is not None:
            return self.static_pressure
        assert self.total_pressure is not None and self.outlet_area is not None
        head = 0.5 * self.rated.density / self.outlet_area**2
        return tuple(p - head * q * q
                     for q, p in zip(self.flow, self.total_pressure, strict=True))

    def _points_amiss(self) -> Iterator[Problem]:
        n = len(self.flow)
        if not FEWEST_POINTS <= n <= MOST_POINTS:
            yield Problem(("flow", "values"), f"{n} points",
                          f"{FEWEST_POINTS} to {MOST_POINTS} points")
        yield from not_rising(self.flow, ("flow", "values"), "volume flow")
        yield from self._pressures_amiss()
        for name in ("static_pressure", "total_pressure", "shaft_power"):
            given = getattr(self, name)
            if given is not None:
                yield from not_as_many(given, (name, "values"), n, "flow")
        yield from below_air_power(self.flow, self.pressure, self.shaft_power)

    def _pressures_amiss(self) -> Iterator[Problem]:
        static, total = self.static_pressure, self.total_pressure
        if static is None and total is None:
            yield Problem(("static_pressure",), "no pressure",
                          "either static_pressure or total_pressure",
                          'such as static_pressure = { unit = "kPa", values = [ … ] }')
        elif static is not None and total is not None:
            yield Problem(("total_pressure",), "both static_pressure and total_pressure",
                          "one of the two")
        if total is not None and self.outlet_area is None:
            yield Problem(("outlet_area",), "total_pressure without outlet_area",
                          'an area such as "3.1 m2"',
                          "static pressure = total pressure − ½ρ(flow/outlet_area)²")
        if self.pressure and max(self.pressure) <= 0.0:
            name = "static_pressure" if static is not None else "total_pressure"
            yield Problem((name, "values"), "no value above zero", "the pressure rise of the fan")

    def _wheel_amiss(self) -> Iterator[Problem]:
        if self.max_safe_speed < self.rated.speed:
            given, rated = (show(speed, "rotation speed", digits=4)
                            for speed in (self.max_safe_speed, self.rated.speed))
            yield Problem(("max_safe_speed",), given, f"at least the rated speed, {rated}")
        for name, flow in (("stall_flow", self.stall_flow), ("design_flow", self.design_flow)):
            if flow is not None and self.flow and flow >= self.flow[-1]:
                yield Problem((name,), show(flow, "volume flow"),
                              f"a flow below the last point, {show(self.flow[-1], 'volume flow')}")
        if self.shutoff_pressure is not None and self.flow and self.flow[0] == 0.0:
            yield Problem(("shutoff_pressure",), show(self.shutoff_pressure, "pressure"),
                          "no such key where the first point is at zero flow",
                          "the first point already gives the pressure at shut-off")
