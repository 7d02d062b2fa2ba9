"""Actuators and transmitters: what stands between a controller and the plant."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import StrictBool, model_validator

from simfan.errors import Problem
from simfan.plant.points import beyond_whole, not_as_many, not_rising, not_whole_range
from simfan.plant.quantities import (
    DeadTime,
    Description,
    FractionList,
    Lag,
    Limits,
    Quantity,
    refuse,
)

StrokeTime = Annotated[float, Quantity("time", Limits(above=0.0, most=3600.0))]
Small = Annotated[float, Quantity("fraction", Limits(least=0.0, most=0.5))]


class Linkage(Description):
    """The lever between the actuator and the blades, by points: straight lines between them."""

    position: FractionList
    """Of the actuator's stroke, rising from 0 to 100 %."""
    opening: FractionList
    """Of the blades' full turn at each position, rising."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._points_amiss())
        return self

    def _points_amiss(self) -> Iterator[Problem]:
        yield from not_whole_range(self.position, ("position", "values"))
        yield from not_as_many(self.opening, ("opening", "values"), len(self.position), "position")
        yield from not_rising(self.opening, ("opening", "values"), "fraction")
        yield from beyond_whole(self.opening, ("opening", "values"))


class Actuator(Description):
    """Demand → dead time → first-order positioner → rate limit → play and stick → linkage."""

    stroke_time: StrokeTime
    """Shut to open at full rate, and open to shut where `stroke_time_closing` is not given."""
    stroke_time_closing: StrokeTime | None = None
    """Open to shut. Default: as stroke_time; an assumption."""
    lag: Lag = 0.5
    """Time constant of the positioner. Default: common practice, no source."""
    dead_time: DeadTime = 0.0
    """Default: none; an assumption."""
    backlash: Small = 0.0
    """The whole gap of the play in the linkage, of the stroke. Default: none; an assumption."""
    resolution: Small = 0.0
    """The smallest movement, of the stroke: it sticks, then jumps by so much. Default: none; an
    assumption."""
    linkage: Linkage | None = None
    """From position to opening. Default: the two are the same; an assumption."""
    fails: Literal["open", "shut", "stays"] = "stays"
    """Where it goes without instrument air. Default: it stays; an assumption."""

    @property
    def closing(self) -> float:
        """Stroke time open to shut [s]."""
        return self.stroke_time if self.stroke_time_closing is None else self.stroke_time_closing


class Transmitter(Description):
    """A measurement: first-order lag, then dead time, then what its electronics make of it."""

    lag: Lag = 1.0
    """Time constant. Default: common practice, no source."""
    dead_time: DeadTime = 0.0
    """Default: none; an assumption."""
    square_root: StrictBool = False
    """Whether it measures a differential pressure and takes the square root for the flow.
    Default: no, a reading in proportion to the flow; an assumption."""
    low_flow_cutoff: Small = 0.0
    """Of the span; a reading below it is zero. Default: none; an assumption."""
    density_compensated: StrictBool = True
    """Whether a flow is corrected for the density of the gas as it is. Default: yes; an
    assumption."""
    noise: Small = 0.0
    """Standard deviation, of the span; of the differential pressure's span with `square_root`.
    Default: none; an assumption."""
    resolution: Small = 0.0
    """Smallest step of the raw reading, of its span. Default: none; an assumption."""
