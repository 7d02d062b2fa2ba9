"""A device that fares ill, or is well again."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.quantities import Description, Limits, Quantity, Time, refuse

OF_A_TRANSMITTER = ("frozen", "lost low", "lost high", "biased", "noisy", "well")
LOST = ("lost low", "lost high")
OF_AN_ELEMENT = ("stuck", "slow", "offset", "well")
OF_A_SHUTTER = ("stuck", "well")
SHUTTERS = ("isolation damper", "check damper")
WITH_NUMBER = ("biased", "noisy", "slow", "offset")
GRADUAL = ("biased", "offset")
"""What may grow over a time: a drift."""


class Fault(Description):
    """A fault of the loop's transmitter or of an element; a strategy without that element goes on
    as before."""

    of: Literal["transmitter", "outlet damper", "inlet box damper", "inlet vanes", "speed",
                "isolation damper", "check damper"]
    state: Literal["frozen", "lost low", "lost high", "biased", "noisy", "stuck", "slow", "offset",
                   "well"]
    """Transmitter: frozen at its reading, lost at the low or the high end of its span, biased,
    noisy; element: stuck, slow, its position offset; isolation and check damper: stuck; or well
    again."""
    by: Annotated[float, Quantity("fraction", Limits(least=-1.0, most=100.0))] | None = None
    """Bias of the span; standard deviation of the noise, as control.transmitter.noise has it;
    offset of the stroke; of a slow element its stroke time, of what it was."""
    lasts: Time | None = None
    """After so long it is well again. Left out, it stays until an event with state = "well"."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._amiss())
        return self

    @property
    def words(self) -> str:
        """For the log."""
        number = "" if self.by is None else f" {100.0 * self.by:.4g} %"
        lasts = "" if self.lasts is None else f" for {self.lasts:.4g} s"
        return f"{self.of}: {self.state}{number}{lasts}"

    def _amiss(self) -> Iterator[Problem]:
        allowed = (OF_A_TRANSMITTER if self.of == "transmitter" else
                   OF_A_SHUTTER if self.of in SHUTTERS else OF_AN_ELEMENT)
        if self.state not in allowed:
            yield Problem(("state",), f'"{self.state}" of the {self.of}',
                          ", ".join(f'"{word}"' for word in allowed))
        elif (self.state in WITH_NUMBER) != (self.by is not None):
            yield Problem(("by",), "nothing" if self.by is None else f"{100.0 * self.by:g} %",
                          'a percentage such as "5 %"' if self.by is None
                          else f'no such key with state = "{self.state}"')
        elif self.state == "noisy" and self.by is not None and not 0.0 <= self.by <= 0.5:
            yield Problem(("by",), f"{100.0 * self.by:g} %", '0 % to 50 %, such as "3 %"',
                          "a standard deviation, of the span")
        elif self.state == "slow" and self.by is not None and self.by < 0.01:
            yield Problem(("by",), f"{100.0 * self.by:g} %", '1 % or more, such as "300 %"',
                          "the stroke time, of what it was")
        if self.state == "well" and self.lasts is not None:
            yield Problem(("lasts",), f"{self.lasts:g} s", 'no such key with state = "well"')
