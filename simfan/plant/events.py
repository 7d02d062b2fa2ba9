"""What happens during a run, as the user wrote it."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.fault import GRADUAL, Fault
from simfan.plant.points import not_as_many, not_rising
from simfan.plant.quantities import (
    AbsolutePressure,
    Description,
    HeldValue,
    HeldValueList,
    Limits,
    Pressure,
    Quantity,
    Share,
    Temperature,
    Time,
    TimeList,
    refuse,
)

CHANGES = (
    "setpoint", "profile", "process_resistance", "fixed_pressure", "ambient_temperature",
    "gas_temperature", "barometer", "inlet_resistance", "noise", "manual_output", "automatic",
    "instrument_air", "motor", "isolation", "fault",
    "procedure",
)
"""What an event may change, one at a time."""

AT_ONCE = ("noise", "manual_output", "automatic", "instrument_air", "motor", "isolation",
           "procedure")
"""Of these, what no ramp can be made of."""


class Profile(Description):
    """A setpoint through time, straight lines between points.

    Times count from the event; the first setpoint holds from the event to the first time.
    """

    time: TimeList
    setpoint: HeldValueList

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._points_amiss())
        return self

    def _points_amiss(self) -> Iterator[Problem]:
        if len(self.time) < 2:
            yield Problem(("time", "values"), f"{len(self.time)} points", "two points at least")
        yield from not_as_many(self.setpoint, ("setpoint", "values"), len(self.time), "time")
        yield from not_rising(self.time, ("time", "values"), "time")


class Event(Description):
    """One happening: a step, or a ramp when `over` is given. One change per event.

    A change that begins while an earlier one of the same thing is under way takes its place.
    """

    at: Time
    """Counted from the start of the run, on a scan of the controller."""
    over: Time = 0.0
    """Length of the ramp. Zero, or left out, is a step."""
    setpoint: HeldValue | None = None
    """The new setpoint."""
    profile: Profile | None = None
    """A setpoint through time."""
    process_resistance: Annotated[float, Quantity("fraction", Limits(0.01, 100.0))] | None = None
    """Of the design resistance."""
    fixed_pressure: Pressure | None = None
    """The new fixed pressure of the process."""
    ambient_temperature: Temperature | None = None
    """The new temperature of the surroundings."""
    gas_temperature: Temperature | None = None
    """The new temperature of the gas in the volume."""
    barometer: AbsolutePressure | None = None
    """The new pressure of the surroundings."""
    inlet_resistance: Annotated[float, Quantity("fraction", Limits(0.01, 100.0))] | None = None
    """Of `ductwork.inlet_filter`."""
    noise: Annotated[float, Quantity("fraction", Limits(0.0, 0.5))] | None = None
    """The new standard deviation of the transmitter's noise, of its span."""
    manual_output: Share | None = None
    """The controller goes to manual, with this output."""
    automatic: Literal[True] | None = None
    """The controller goes back to automatic, without a bump."""
    instrument_air: Literal["lost", "back"] | None = None
    """Elements with a stroke go to their fail position; a drive keeps its reference."""
    motor: Literal["trip", "restart"] | None = None
    """The motor loses its supply, and the fan coasts down; or it comes back, a drive at the speed
    that the wheel has, and every trip is reset."""
    isolation: Literal["open", "shut"] | None = None
    """The isolation damper is driven there, at its own stroke."""
    fault: Fault | None = None
    """Of a device, or the end of one."""
    procedure: Literal["start", "stop"] | None = None
    """One of `procedures` begins; one that is under way is broken off."""
    because: str = ""
    """A word for the log, such as "filter clogs"."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._changes_amiss())
        return self

    @property
    def changes(self) -> str:
        """What it changes, one of CHANGES; a profile changes the setpoint."""
        given = next(name for name in CHANGES if getattr(self, name) is not None)
        return "setpoint" if given == "profile" else given

    @property
    def until(self) -> float:
        """When the change is complete [s]."""
        lasts = self.fault.lasts or 0.0 if self.fault else 0.0
        return self.at + (self.profile.time[-1] if self.profile else max(self.over, lasts))

    def _changes_amiss(self) -> Iterator[Problem]:
        given = [name for name in CHANGES if getattr(self, name) is not None]
        if len(given) != 1:
            yield Problem((given[1],) if given else (),
                          f"{' and '.join(given)} in one event" if given else "no change",
                          f"one of {', '.join(CHANGES)}",
                          "two changes at one time are two events" if given else "")
        if self.profile is not None and self.over > 0.0:
            yield Problem(("over",), f"{self.over:g} s", "no such key beside profile",
                          "the profile carries its own times")
        if self.fault is not None and self.over > 0.0 and self.fault.state not in GRADUAL:
            yield Problem(("over",), f"{self.over:g} s",
                          f'no such key beside a fault with state = "{self.fault.state}"',
                          "a bias or an offset may grow over a time")
        for name in AT_ONCE:
            if getattr(self, name) is not None and self.over > 0.0:
                yield Problem(("over",), f"{self.over:g} s", f"no such key beside {name}",
                              "it happens at once")


