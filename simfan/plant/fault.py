"""A device that fares ill, or is well again."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.quantities import Description, Limits, Quantity, refuse

OF_A_TRANSMITTER = ("frozen", "lost low", "lost high", "biased", "well")
OF_AN_ELEMENT = ("stuck", "slow", "offset", "well")
WITH_NUMBER = ("biased", "slow", "offset")
GRADUAL = ("biased", "offset")
"""What may grow over a time: a drift."""


class Fault(Description):
    """A fault of the loop's transmitter or of an element; a strategy without that element goes on
    as before."""

    of: Literal["transmitter", "outlet damper", "inlet box damper", "inlet vanes", "speed"]
    state: Literal["frozen", "lost low", "lost high", "biased", "stuck", "slow", "offset", "well"]
    """Transmitter: frozen at its reading, lost at the low or the high end of its span, biased;
    element: stuck, slow, its position offset; or well again."""
    by: Annotated[float, Quantity("fraction", Limits(least=-1.0, most=100.0))] | None = None
    """Bias of the span; offset of the stroke; of a slow element its stroke time, of what it was."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._amiss())
        return self

    @property
    def words(self) -> str:
        """For the log."""
        number = "" if self.by is None else f" {100.0 * self.by:.4g} %"
        return f"{self.of}: {self.state}{number}"

    def _amiss(self) -> Iterator[Problem]:
        allowed = OF_A_TRANSMITTER if self.of == "transmitter" else OF_AN_ELEMENT
        if self.state not in allowed:
            yield Problem(("state",), f'"{self.state}" of the {self.of}',
                          ", ".join(f'"{word}"' for word in allowed))
        elif (self.state in WITH_NUMBER) != (self.by is not None):
            yield Problem(("by",), "nothing" if self.by is None else f"{100.0 * self.by:g} %",
                          'a percentage such as "5 %"' if self.by is None
                          else f'no such key with state = "{self.state}"')
        elif self.state == "slow" and self.by is not None and self.by < 0.01:
            yield Problem(("by",), f"{100.0 * self.by:g} %", '1 % or more, such as "300 %"',
                          "the stroke time, of what it was")
