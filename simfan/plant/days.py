"""The coldest and the hottest day that the answers must hold on."""

from typing import Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.quantities import Description, Temperature, refuse
from simfan.units import show


class Day(Description):
    """The temperatures of one day."""

    ambient: Temperature
    """Of the surroundings, and of the gas at the fan."""
    gas: Temperature | None = None
    """Of the gas in the volume. Where left out: as `ductwork.volume_temperature`, else as
    `ambient`."""


class Days(Description):
    """The coldest and hottest day; the operating map tells its answers as bands over them."""

    coldest: Day | None = None
    """Of the years to come: the heaviest air, which loads the motor."""
    hottest: Day | None = None
    """Of the years to come: the lightest air, which needs the largest volume."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        if self.coldest and self.hottest and self.coldest.ambient >= self.hottest.ambient:
            cold, hot = (show(day.ambient, "temperature", digits=4)
                         for day in (self.coldest, self.hottest))
            refuse([Problem(("coldest", "ambient"), cold, f"below hottest.ambient, {hot}")])
        return self
