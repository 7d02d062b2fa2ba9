"""How two elements share one controller output.

    100 % ┤‾‾‾‾‾‾‾‾‾‾‾╲          ╱‾‾‾    vanes first: as the output falls from 100 %, the vanes
          │ speed      ╲        ╱ vanes  close down to the split, then the speed falls.
          │             ╲      ╱        overlap > 0: the second begins before the first is done;
          └──────────────split──── output   overlap < 0: a gap in which neither moves.
"""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.points import beyond_whole, not_as_many, not_whole_range
from simfan.plant.quantities import (
    Description,
    FractionList,
    Limits,
    Quantity,
    Share,
    refuse,
    told,
)
from simfan.units import show

TABLE = ("output", "inlet_vanes", "speed")
LEGS = ("split", "overlap")


class Sequence(Description):
    """The share of vanes and speed in the controller's output: an order, or a table of points."""

    order: Literal["vanes first", "speed first", "together"] | None = None
    """What closes first as the output falls from 100 %; or give the table."""
    split: Annotated[float, Quantity("fraction", Limits(above=0.0, below=1.0))] = 0.5
    """Controller output at which one hands over to the other. Default: half of the output; an
    assumption."""
    overlap: Annotated[float, Quantity("fraction", Limits(above=-1.0, below=1.0))] = 0.0
    """Of the output, about the split: above zero both move there, below zero neither does.
    Default: none; an assumption."""
    least_opening: Share = 0.0
    """Of the vanes, at the lowest output of the sequence. Default: shut; an assumption."""
    output: FractionList | None = None
    """Controller outputs of the table, rising from 0 to 100 %."""
    inlet_vanes: FractionList | None = None
    """Demand to the vanes at each output."""
    speed: FractionList | None = None
    """Speed reference at each output, of the fan's rated speed."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._table_amiss() if self._table() else self._order_amiss())
        return self

    def idle(self) -> tuple[str, ...]:
        """What a table, or elements that move together, leave without an effect."""
        if self._table():
            return (*LEGS, "least_opening")
        return LEGS if self.order == "together" else ()

    def _table(self) -> list[str]:
        return [name for name in TABLE if getattr(self, name) is not None]

    def _order_amiss(self) -> Iterator[Problem]:
        if self.order is None:
            yield Problem(("order",), "neither an order nor a table",
                          '"vanes first", "speed first" or "together"; or output, inlet_vanes and '
                          "speed, three lists")
        if self.order == "together":
            yield from self._not_beside(LEGS, 'order = "together"')
            return
        half = 0.5 * abs(self.overlap)
        if self.split - half <= 0.0 or self.split + half >= 1.0:
            yield Problem(("overlap",), f"{show(self.overlap, 'fraction')} about a split at "
                          f"{show(self.split, 'fraction')}",
                          "an overlap or gap that leaves room for both elements",
                          "half of it lies on either side of the split")

    def _table_amiss(self) -> Iterator[Problem]:
        yield from self._not_beside(("order", *LEGS, "least_opening"), "a table")
        missing = [name for name in TABLE if getattr(self, name) is None]
        for name in missing:
            yield Problem((name,), "nothing", '{ unit = "%", values = [numbers] }',
                          f"{name} is missing: a table has {', '.join(TABLE)}")
        if self.output is not None:
            yield from not_whole_range(self.output, ("output", "values"))
            for name, values in (("inlet_vanes", self.inlet_vanes), ("speed", self.speed)):
                if values is not None:
                    yield from not_as_many(values, (name, "values"), len(self.output), "output")
        if self.inlet_vanes is not None:
            yield from beyond_whole(self.inlet_vanes, ("inlet_vanes", "values"))

    def _not_beside(self, names: tuple[str, ...], what: str) -> Iterator[Problem]:
        for name in names:
            if name in self.model_fields_set and (value := getattr(self, name)) is not None:
                got = show(value, "fraction") if isinstance(value, float) else told(value)
                yield Problem((name,), got, f"no such key beside {what}")
