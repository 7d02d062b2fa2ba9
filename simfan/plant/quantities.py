"""The types from which descriptions are built: floats that are SI once built."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict

from simfan.plant.held import HeldList, HeldQuantity, StartQuantity
from simfan.plant.lists import PlainList, QuantityList
from simfan.plant.numbers import (
    FROM_FILE,
    Limits,
    Plain,
    Quantity,
    mark_of,
    refuse,
    told,
)

__all__ = [
    "FROM_FILE",
    "GAUGE",
    "AbsolutePressure",
    "Area",
    "DeadTime",
    "Density",
    "Description",
    "Fraction",
    "FractionList",
    "Frequency",
    "GasConstant",
    "HeldValue",
    "HeldValueList",
    "Inertia",
    "Lag",
    "Length",
    "Limits",
    "Number",
    "Plain",
    "PlainList",
    "Power",
    "PowerList",
    "Pressure",
    "PressureList",
    "Quantity",
    "QuantityList",
    "Share",
    "Speed",
    "StartValue",
    "Temperature",
    "Time",
    "TimeList",
    "Voltage",
    "Volume",
    "VolumeFlow",
    "VolumeFlowList",
    "WholeNumber",
    "mark_of",
    "refuse",
    "told",
]


class Description(BaseModel):
    """A frozen, valid-once-built description. Unknown keys are refused.

    A field's docstring says what it means and ends, where the field has a default, in
    "Default: …" with the place that the value comes from.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)

    def idle(self) -> tuple[str, ...]:
        """Keys without an effect as the others stand; leaving one out assumes nothing.

        Dots lead into the descriptions inside.
        """
        return ()


GAUGE = Quantity("pressure", Limits(least=-1e5, most=1e5))

Time = Annotated[float, Quantity("time", Limits(least=0.0, most=1e8))]
Length = Annotated[float, Quantity("length", Limits(above=0.0, most=1e5))]
Area = Annotated[float, Quantity("area", Limits(above=0.0, most=1e4))]
Volume = Annotated[float, Quantity("volume", Limits(above=0.0, most=1e7))]
VolumeFlow = Annotated[float, Quantity("volume flow", Limits(least=0.0, most=1e5))]
Pressure = Annotated[float, GAUGE]
AbsolutePressure = Annotated[float, Quantity("absolute pressure", Limits(least=2e4, most=2e5))]
Temperature = Annotated[float, Quantity("temperature", Limits(least=173.15, most=2273.15))]
Density = Annotated[float, Quantity("density", Limits(least=0.01, most=100.0))]
Power = Annotated[float, Quantity("power", Limits(above=0.0, most=1e9))]
Inertia = Annotated[float, Quantity("inertia", Limits(above=0.0, most=1e8))]
Speed = Annotated[float, Quantity("rotation speed", Limits(above=0.0, most=1e4))]
Frequency = Annotated[float, Quantity("frequency", Limits(above=0.0, most=1000.0))]
Fraction = Annotated[float, Quantity("fraction", Limits(least=0.0, most=1000.0))]
Share = Annotated[float, Quantity("fraction", Limits(least=0.0, most=1.0))]
Voltage = Annotated[float, Quantity("voltage", Limits(above=0.0, most=1e6))]
GasConstant = Annotated[float, Quantity("gas constant", Limits(least=50.0, most=5000.0))]
Lag = Annotated[float, Quantity("time", Limits(least=0.0, most=3600.0))]
DeadTime = Annotated[float, Quantity("time", Limits(least=0.0, most=600.0))]
Number = Annotated[float, Plain()]
WholeNumber = Annotated[int, Plain(Limits(least=0, most=1e9), whole=True)]

HeldValue = Annotated[float, HeldQuantity()]
HeldValueList = Annotated[tuple[float, ...], HeldList()]
StartValue = Annotated[float | Literal["standstill"], StartQuantity()]

FractionList = Annotated[tuple[float, ...], QuantityList(Quantity("fraction", Limits(0.0, 2.0)))]
TimeList = Annotated[tuple[float, ...], QuantityList(Quantity("time", Limits(0.0, 1e8)))]
VolumeFlowList = Annotated[
    tuple[float, ...], QuantityList(Quantity("volume flow", Limits(0.0, 1e5)))
]
PressureList = Annotated[tuple[float, ...], QuantityList(GAUGE)]
PowerList = Annotated[
    tuple[float, ...], QuantityList(Quantity("power", Limits(above=0.0, most=1e9)))
]
