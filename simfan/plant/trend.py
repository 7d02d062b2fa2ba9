"""How a recorded trend is to be read: which column is which signal, in which unit."""

from collections.abc import Iterator
from typing import Annotated, Self
from zoneinfo import ZoneInfo

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.quantities import Description, Limits, Quantity, refuse
from simfan.units import quoted

BAD_WORDS = ("nan", "null", "none", "n/a", "na", "-", "--", "?", "bad", "no data", "no value",
             "invalid", "error", "#n/a", "#value!", "#ref!")
"""What stands in place of a number that was not measured. An empty cell always does."""
GOOD_WORDS = ("good", "ok", "192", "true")
"""What a column of quality says of a sample that may be used. 192 is "good" in OPC."""


class Columns(Description):
    """The trend's columns. A column is written as its heading with the unit behind it in square
    brackets, such as "FT-12 flow [m3/h]"."""

    time: str | None = None
    """Time stamps take no unit; counted time does, such as "t [s]"."""
    setpoint: str | None = None
    """Of what the loop holds."""
    measured_value: str | None = None
    """What the transmitter shows the controller."""
    true_value: str | None = None
    """The same quantity by a faster, undamped transmitter; judged in place of `measured_value`."""
    controller_output: str | None = None
    """In percent."""
    fan_flow: str | None = None
    """Actual volume flow at the fan's inlet."""
    fan_pressure: str | None = None
    """Static pressure rise of the fan."""
    volume_pressure: str | None = None
    """Of the volume, against the air around it."""
    shaft_power: str | None = None
    """At the fan's shaft."""
    electrical_power: str | None = None
    """From the supply."""
    motor_load: str | None = None
    """Torque, of what the motor may give for good; not its current."""
    speed_ratio: str | None = None
    """Of the wheel: of the fan's rated speed in percent, in rpm, or the drive's frequency in Hz."""
    outlet_damper: str | None = None
    """Position, 100 % is open."""
    inlet_box_damper: str | None = None
    """Position, 100 % is open."""
    inlet_vanes: str | None = None
    """Position, 100 % is open."""
    speed: str | None = None
    """The drive's reference, in the ways of `speed_ratio`."""

    def given(self) -> dict[str, str]:
        """Key → column, those that are given."""
        return {key: text for key, text in self if text is not None}


class Quality(Columns):
    """Columns that tell whether a sample is good, each written as its heading: one for a signal,
    `time` for the whole row."""


class Recorded(Description):
    """A trend recorded on the plant, for `simfan judge` and `simfan fit`."""

    strategy: str | None = None
    """The strategy that the plant ran. May be left out where there is only one."""
    columns: Columns = Columns()
    """Which column is which signal."""
    quality: Quality = Quality()
    """Which column tells whether a signal's samples are good."""
    time_format: str | None = None
    """Of the time stamps, such as "%d/%m/%Y %H:%M:%S", where they could be read in two ways."""
    zone: str | None = None
    """Of time stamps without an offset, such as "Europe/Oslo". Without it a repeated or missing
    hour is taken for daylight saving, and told."""
    longest_interval: Annotated[float, Quantity("time", Limits(above=0.0, most=86400.0))] | None = (
        None)
    """Between two samples; a longer one is a gap. Default: five times the usual interval; an
    assumption."""
    bad: tuple[str, ...] = ()
    """Further words that stand for a missing number."""
    good: tuple[str, ...] = ()
    """Further words that a column of quality has for good."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._zone_amiss())
        return self

    def idle(self) -> tuple[str, ...]:
        """Only a trend feels them."""
        return ("longest_interval",)

    def _zone_amiss(self) -> Iterator[Problem]:
        if self.zone is None:
            return
        try:
            ZoneInfo(self.zone)
        except (KeyError, ValueError, OSError):
            yield Problem(("zone",), quoted(self.zone), 'a time zone such as "Europe/Oslo"',
                          "as the IANA time zone database names it")
