"""Alarms and trips: what is watched, for how long, and what happens then."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.quantities import (
    Description,
    Fraction,
    Limits,
    Pressure,
    Quantity,
    Share,
    Time,
    refuse,
)
from simfan.units import show

CAUSES = {"overload": "fraction", "speed": "fraction", "stall_margin": "fraction",
          "highest_pressure": "pressure", "lowest_pressure": "pressure"}
"""Key of what is watched → kind of its limit."""


class Protection(Description):
    """One row of the cause-and-effect table; it looks at every scan at the plant itself, not
    through the loop's transmitter, and stays in effect until the motor is started again."""

    overload: Fraction | None = None
    """The load that the motor bears for good, of its rating; the motor's heat, of first order, acts
    when it reaches that of this load. IEC 60255-149, from memory."""
    speed: Fraction | None = None
    """Above this, of rated speed."""
    stall_margin: Annotated[float, Quantity("fraction", Limits(least=-1.0, most=1.0))] | None = None
    """Below this (Q − Q_stall)/Q; with a time it stands for high vibration, which the model does
    not have."""
    highest_pressure: Pressure | None = None
    """The volume's above this, against the air around it."""
    lowest_pressure: Pressure | None = None
    """The volume's below this."""
    after: Time = 0.0
    """It must last so long. Default: at once; an assumption."""
    bypass_at_start: Time = 0.0
    """After a start of the motor it does not look for so long: a fan that runs up passes through
    its stall. Default: it always looks; an assumption."""
    time_constant: Annotated[float, Quantity("time", Limits(above=0.0, most=86400.0))] | None = None
    """Of the motor's heat, with overload."""
    effect: Literal["alarm", "trip", "run back"]
    """A line in the log; or the motor loses its supply; or the output goes to `output` by hand."""
    output: Share | None = None
    """Where the output goes, with a run-back; with a trip, if it is to go anywhere."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._amiss())
        return self

    def idle(self) -> tuple[str, ...]:
        """An overload takes its own time."""
        return ("after",) if self.overload is not None else ()

    @property
    def cause(self) -> str:
        """Which of CAUSES."""
        return next(name for name in CAUSES if getattr(self, name) is not None)

    @property
    def limit(self) -> float:
        """Of the cause [1 or Pa]."""
        return float(getattr(self, self.cause))

    @property
    def words(self) -> tuple[str, str]:
        """(cause, effect) in plain words."""
        value = show(self.limit, CAUSES[self.cause], digits=4)
        what = {"overload": f"motor's heat at that of {value} load for good",
                "speed": f"speed above {value} of rated",
                "stall_margin": f"stall margin below {value}",
                "highest_pressure": f"pressure of the volume above {value}",
                "lowest_pressure": f"pressure of the volume below {value}"}[self.cause]
        if self.overload is not None:
            what += f", time constant {self.time_constant:g} s"
        elif self.after:
            what += f" for {self.after:g} s"
        if self.bypass_at_start:
            what += f", bypassed for {self.bypass_at_start:g} s after a start"
        effect = {"alarm": "alarm", "trip": "trip: the motor loses its supply",
                  "run back": "run-back"}[self.effect]
        if self.output is not None:
            effect += f", output to {100.0 * self.output:g} % by hand"
        return what, effect

    def _amiss(self) -> Iterator[Problem]:
        given = [name for name in CAUSES if getattr(self, name) is not None]
        if len(given) != 1:
            yield Problem((given[1],) if given else (), " and ".join(given) or "nothing watched",
                          f"one of {', '.join(CAUSES)}", "two causes are two rows")
        if (self.overload is None) != (self.time_constant is None):
            yield Problem(("time_constant",), "nothing" if self.overload is not None else
                          f"{self.time_constant:g} s", 'a time such as "10 min", with overload',
                          "how quickly the motor heats up; ask its maker")
        if self.effect == "run back" and self.output is None:
            yield Problem(("output",), "nothing", 'an output such as "30 %"', "output is missing")
        if self.effect == "alarm" and self.output is not None:
            yield Problem(("output",), f"{100.0 * self.output:g} %",
                          'no such key with effect = "alarm"')
