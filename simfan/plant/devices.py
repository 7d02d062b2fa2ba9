"""Actuators and transmitters: what stands between a controller and the plant."""

from typing import Annotated

from simfan.plant.quantities import DeadTime, Description, Lag, Limits, Quantity

StrokeTime = Annotated[float, Quantity("time", Limits(above=0.0, most=3600.0))]


class Actuator(Description):
    """Demand → dead time → first-order positioner → rate limit → position."""

    stroke_time: StrokeTime
    """Shut to open at full rate, and open to shut where `stroke_time_closing` is not given."""
    stroke_time_closing: StrokeTime | None = None
    """Open to shut. Default: as stroke_time; an assumption."""
    lag: Lag = 0.5
    """Time constant of the positioner. Default: common practice, no source."""
    dead_time: DeadTime = 0.0
    """Default: none; an assumption."""

    @property
    def closing(self) -> float:
        """Stroke time open to shut [s]."""
        return self.stroke_time if self.stroke_time_closing is None else self.stroke_time_closing


class Transmitter(Description):
    """A measurement: first-order lag, then dead time."""

    lag: Lag = 1.0
    """Time constant. Default: common practice, no source."""
    dead_time: DeadTime = 0.0
    """Default: none; an assumption."""
