"""A table between the controller's output and the element, against its installed characteristic."""

from collections.abc import Iterator
from typing import Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.points import beyond_whole, not_as_many, not_rising, not_whole_range
from simfan.plant.quantities import Description, FractionList, refuse


class Characteriser(Description):
    """The output as it goes on to the element, or to the sequence of two, by points: straight lines
    between them."""

    output: FractionList
    """Of the controller, rising from 0 to 100 %."""
    element: FractionList
    """What goes on at each output, rising: 0 to 100 % of the element's range of demands."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._points_amiss())
        return self

    def _points_amiss(self) -> Iterator[Problem]:
        yield from not_whole_range(self.output, ("output", "values"))
        yield from not_as_many(self.element, ("element", "values"), len(self.output), "output")
        yield from not_rising(self.element, ("element", "values"), "fraction")
        yield from beyond_whole(self.element, ("element", "values"))
