"""Dampers: a loss that the actuator sets."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.devices import Actuator
from simfan.plant.quantities import Area, Limits, Plain, refuse


class OutletDamper(Actuator):
    """A louvre damper in the discharge, before or after the volume that stores air.

    The place has no default: the same damper steadies the fan before the volume and lets it
    surge after it.
    """

    blades: Literal["opposed", "parallel"]
    """How neighbouring blades turn: against each other, or alike."""
    area: Area
    """Of the duct in which it stands."""
    place: Literal["before volume", "after volume"]
    """Where it stands on the way from the fan to the process."""
    open_loss: Annotated[float, Plain(Limits(above=0.0, most=100.0))] = 0.45
    """ζ wide open, referred to `area`: Δp = ζ·½ρ(Q/A)². Default: ASHRAE 825-RP (Haves, Norford,
    DeSimone, Mei 1998), as quoted by others."""
    shut_loss: Annotated[float, Plain(Limits(least=100.0, most=1e8))] = 1.0e4
    """ζ shut. Default: an unsealed industrial damper, 1e3 to 1e4, against 1e6 for a tight one;
    from memory."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._losses_amiss())
        return self

    def _losses_amiss(self) -> Iterator[Problem]:
        if self.shut_loss <= self.open_loss:
            yield Problem(("shut_loss",), f"{self.shut_loss:g}",
                          f"more than open_loss, {self.open_loss:g}")
