"""Efficiency of a motor or a drive against its load, by its maker's points."""

from collections.abc import Iterator
from typing import Annotated, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.points import not_as_many, not_rising, value_at
from simfan.plant.quantities import Description, Limits, Quantity, QuantityList, refuse
from simfan.units import show

MOST_POINTS = 50
ROUNDING = 5e-4
"""Efficiencies are stated to a tenth of a percent."""

LoadList = Annotated[
    tuple[float, ...], QuantityList(Quantity("fraction", Limits(above=0.0, most=1.5)))
]
EfficiencyList = Annotated[
    tuple[float, ...], QuantityList(Quantity("fraction", Limits(above=0.0, most=1.0)))
]


class PartLoad(Description):
    """Efficiency against load; between points the losses lie on straight lines.

    Below the first point the losses stay what they are there; beyond the last the efficiency does.
    """

    load: LoadList
    """Of rated power, rising, up to 100 % at least."""
    efficiency: EfficiencyList
    """At each load."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._points_amiss())
        return self

    @property
    def losses(self) -> tuple[float, ...]:
        """s·(1/η − 1), over rated power [1], at each load s."""
        return tuple(s * (1.0 / eta - 1.0)
                     for s, eta in zip(self.load, self.efficiency, strict=True))

    def _points_amiss(self) -> Iterator[Problem]:
        n = len(self.load)
        if not 2 <= n <= MOST_POINTS:
            yield Problem(("load", "values"), f"{n} points", f"2 to {MOST_POINTS} points")
        elif self.load[-1] < 1.0 - 1e-9:
            yield Problem(("load", "values", n - 1), show(self.load[-1], "fraction"),
                          "100 % or more, the last point")
        yield from not_rising(self.load, ("load", "values"), "fraction")
        yield from not_as_many(self.efficiency, ("efficiency", "values"), n, "load")


def rated_amiss(part_load: PartLoad | None, efficiency: float) -> Iterator[Problem]:
    """The points give the same efficiency at rated load as the nameplate."""
    if part_load is None:
        return
    loss = value_at(1.0, part_load.load, part_load.losses)
    rated = part_load.efficiency[-1] if loss is None else 1.0 / (1.0 + loss)
    if abs(rated - efficiency) > ROUNDING:
        found = show(rated, "fraction", digits=4)
        yield Problem(("efficiency",), show(efficiency, "fraction", digits=4),
                      f"as part_load has it at 100 % load, {found}",
                      f'such as efficiency = "{found}"')
