"""Ducts, the volume that stores air, and the process at the far end."""

from collections.abc import Iterator
from typing import Annotated, Literal

from simfan.errors import Problem
from simfan.plant.quantities import (
    Area,
    Description,
    Length,
    Limits,
    Plain,
    Pressure,
    Quantity,
    Temperature,
    Volume,
)
from simfan.units import show

Stroke = Annotated[float, Quantity("time", Limits(above=0.0, most=3600.0))]
Leakage = Annotated[float, Quantity("fraction", Limits(least=1e-5, most=0.2))]
OpenLoss = Annotated[float, Plain(Limits(least=0.0, most=100.0))]


class ResistancePoint(Description):
    """A resistance told by one point: it takes this pressure at this flow."""

    flow: Annotated[float, Quantity("volume flow", Limits(above=0.0, most=1e5))]
    """Counted in volume at the fan's inlet."""
    pressure: Annotated[float, Quantity("pressure", Limits(above=0.0, most=1e5))]


class Duct(Description):
    """A duct of one bore; its air has to be accelerated (inertance L/A)."""

    length: Length
    area: Area
    resistance: ResistancePoint | None = None
    """Default: no loss of its own; an assumption."""


class IsolationDamper(Description):
    """A damper that shuts the fan off from the plant: behind the fan, wide open or shut, worked by
    an event or a procedure. A run that starts at standstill finds it shut, any other open."""

    stroke_time: Stroke
    """Shut to open, and open to shut."""
    area: Area | None = None
    """Default: that of the discharge duct; an assumption."""
    open_loss: OpenLoss = 0.2
    """ζ wide open, referred to `area`. Default: from memory, not validated."""
    leakage: Leakage = 0.005
    """Open share of the area when shut. Default: from memory, not validated; ask its maker."""


class CheckDamper(Description):
    """A flap behind the fan that the air itself opens in forward flow and shuts in backflow. It is
    taken to move at one rate whatever the flow; its weight is left out."""

    stroke_time: Stroke
    """Shut to open, and open to shut."""
    area: Area | None = None
    """Default: that of the discharge duct; an assumption."""
    open_loss: OpenLoss = 1.0
    """ζ wide open, referred to `area`. Default: from memory, not validated."""
    leakage: Leakage = 0.01
    """Open share of the area when shut. Default: from memory, not validated; ask its maker."""


class Ductwork(Description):
    """What lies between the fan and the process.

    With the volume on the inlet side the process feeds it, the inlet duct leads from it to the
    fan, and the fan discharges to the open.
    """

    inlet: Duct | None = None
    """Before the fan. Default: the fan draws from the open; an assumption."""
    inlet_filter: ResistancePoint | None = None
    """What events may clog before the fan. Default: none; an assumption."""
    discharge: Duct
    """From the fan to the volume, or to the open."""
    volume: Volume
    """Everything that stores air between the duct and the process."""
    volume_side: Literal["discharge", "inlet"] = "discharge"
    """Side of the fan on which the volume and the process lie. Default: the discharge; an
    assumption."""
    volume_temperature: Temperature | None = None
    """Of the gas in the volume. Default: as air.temperature; an assumption."""
    isolation_damper: IsolationDamper | None = None
    """Behind the fan, in every strategy."""
    check_damper: CheckDamper | None = None
    """Behind the fan, in every strategy."""

    @property
    def shutters(self) -> dict[str, "IsolationDamper | CheckDamper"]:
        """Those behind the fan by their names, along the flow."""
        both = {"check damper": self.check_damper, "isolation damper": self.isolation_damper}
        return {name: found for name, found in both.items() if found is not None}


class DesignPoint(Description):
    """A flow, and the pressure of the volume over the surroundings that goes with it."""

    flow: Annotated[float, Quantity("volume flow", Limits(above=0.0, most=1e5))]
    """Counted in volume at the fan's inlet."""
    pressure: Annotated[float, Quantity("pressure", Limits(least=-1e5, most=1e5))]
    """Gauge; negative for a draft."""


class Process(Description):
    """The far end: a fixed pressure plus a resistance that takes the square of the flow.

    `design` is the whole pressure of the volume, fixed part included, at one flow. With the volume
    on the inlet side the far end feeds it: its pressure lies above that of the volume.
    """

    fixed_pressure: Pressure = 0.0
    """Stands there at any flow. Default: none, the process is open to the air; an assumption."""
    design: DesignPoint


def design_amiss(process: Process, ductwork: Ductwork) -> Iterator[Problem]:
    """Whether air would flow the right way through the process."""
    fixed, given = process.fixed_pressure, process.design.pressure
    feeds = ductwork.volume_side == "inlet"
    if (given < fixed) if feeds else (given > fixed):
        return
    hint = ("with the volume on the inlet side the process feeds it" if feeds else
            "design.pressure is the whole pressure, the fixed part included")
    yield Problem(("process", "design", "pressure"), show(given, "pressure"),
                  f"{'less' if feeds else 'more'} than fixed_pressure, {show(fixed, 'pressure')}",
                  hint)
