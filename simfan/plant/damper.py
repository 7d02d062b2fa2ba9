"""Dampers: a loss that the actuator sets."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.devices import Actuator
from simfan.plant.points import not_as_many, not_falling, not_whole_range
from simfan.plant.quantities import (
    Area,
    Description,
    FractionList,
    Limits,
    Plain,
    PlainList,
    refuse,
    told,
)

CURVE = ("blades", "open_loss", "shut_loss")
"""Keys of the blades' curve, which measured losses replace."""


class DamperLosses(Description):
    """A damper's loss against its opening, as its maker measured it."""

    opening: FractionList
    """Of the blades, rising from 0 to 100 %."""
    loss: Annotated[tuple[float, ...], PlainList(Limits(above=0.0, most=1e8))]
    """ζ at each opening, falling, referred to the damper's `area`."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._points_amiss())
        return self

    def _points_amiss(self) -> Iterator[Problem]:
        yield from not_whole_range(self.opening, ("opening", "values"))
        yield from not_as_many(self.loss, ("loss",), len(self.opening), "opening")
        yield from not_falling(self.loss, ("loss",))


class OutletDamper(Actuator):
    """A louvre damper in the discharge, before or after the volume that stores air.

    The place has no default: the same damper steadies the fan before the volume and lets it
    surge after it.
    """

    blades: Literal["opposed", "parallel"] | None = None
    """How neighbouring blades turn: against each other, or alike; or give `losses`."""
    area: Area
    """Of the duct in which it stands."""
    place: Literal["before volume", "after volume", "at fan"]
    """Where it stands on the way from the fan to the process; at the fan, where the volume lies
    on the fan's inlet."""
    open_loss: Annotated[float, Plain(Limits(above=0.0, most=100.0))] = 0.45
    """ζ wide open, referred to `area`: Δp = ζ·½ρ(Q/A)². Default: ASHRAE 825-RP (Haves, Norford,
    DeSimone, Mei 1998), as quoted by others."""
    shut_loss: Annotated[float, Plain(Limits(least=100.0, most=1e8))] = 1.0e4
    """ζ shut. Default: an unsealed industrial damper, 1e3 to 1e4, against 1e6 for a tight one;
    from memory."""

    losses: DamperLosses | None = None
    """Measured losses in place of the blades' curve."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*self._curve_amiss(), *self._losses_amiss()])
        return self

    def idle(self) -> tuple[str, ...]:
        """The blades' curve, where there are measured losses."""
        return CURVE if self.losses is not None else ()

    def _curve_amiss(self) -> Iterator[Problem]:
        """Either the blades' curve or measured losses."""
        if self.losses is None:
            if self.blades is None:
                yield Problem(("blades",), "nothing", '"opposed" or "parallel"',
                              "blades is missing, and there are no measured losses")
            return
        for name in CURVE:
            if name in self.model_fields_set and getattr(self, name) is not None:
                yield Problem((name,), told(getattr(self, name)), "no such key beside losses",
                              "the measured losses stand for all of it")

    def _losses_amiss(self) -> Iterator[Problem]:
        if self.shut_loss <= self.open_loss:
            yield Problem(("shut_loss",), f"{self.shut_loss:g}",
                          f"more than open_loss, {self.open_loss:g}")
