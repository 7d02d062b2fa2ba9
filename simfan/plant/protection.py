"""Alarms and trips: what is watched, for how long, what happens then, and when it is over."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.quantities import (
    Fraction,
    Limits,
    Plain,
    Pressure,
    Quantity,
    Share,
    Time,
    refuse,
)
from simfan.plant.watch import Watch
from simfan.units import show

CAUSES = {"overload": "fraction", "speed": "fraction", "stall_margin": "fraction",
          "surge_cycles": None, "highest_pressure": "pressure", "lowest_pressure": "pressure"}
"""Key of what is watched → kind of its limit."""
Effect = Literal["alarm", "trip", "run back"]


class Protection(Watch):
    """One row of the cause-and-effect table; it looks at every scan at the plant itself, not
    through the loop's transmitter. What it did is reset as `reset` says; that of a trip lasts in
    any case until the motor is started again."""

    causes = CAUSES

    overload: Fraction | None = None
    """The load that the motor bears continuously, of its rating; the motor's heat, of first order,
    acts when it reaches that of this load. IEC 60255-149, from memory."""
    speed: Fraction | None = None
    """Above this, of rated speed, forwards or backwards."""
    stall_margin: Annotated[float, Quantity("fraction", Limits(least=-1.0, most=1.0))] | None = None
    """Below this (Q − Q_stall)/Q; with a time it stands for high vibration, which the model does
    not have. It does not look while the motor is off."""
    surge_cycles: Annotated[int, Plain(Limits(least=1, most=100), whole=True)] | None = None
    """So many within `window`, counted as the criteria count them. It does not look while the motor
    is off."""
    highest_pressure: Pressure | None = None
    """The volume's above this, against the air around it."""
    lowest_pressure: Pressure | None = None
    """The volume's below this."""
    after: Time = 0.0
    """It must last so long. Default: at once; an assumption."""
    window: Annotated[float, Quantity("time", Limits(above=0.0, most=3600.0))] | None = None
    """In which the surge cycles end, with surge_cycles."""
    bypass_at_start: Time = 0.0
    """After a start of the motor it does not look for so long: a fan that runs up passes through
    its stall. Default: it always looks; an assumption."""
    time_constant: Annotated[float, Quantity("time", Limits(above=0.0, most=86400.0))] | None = None
    """Of the motor's heat, with overload."""
    effect: Effect
    """A line in the log; or the motor loses its supply; or the output goes to `output` by hand."""
    output: Share | None = None
    """Where the output goes, with a run-back; with a trip, if it is to go anywhere. From below as
    from above: one that was lower is taken up, to more flow; of a run-back the log tells it."""
    reset: Literal["by hand", "by itself"] = "by hand"
    """By hand: at the next start of the motor. By itself: when the cause is gone; a motor that is
    tripped stays off all the same. Default: by hand, common practice for trips, no source."""
    reset_after: Time = 0.0
    """The cause must be gone so long, with reset = "by itself". Default: at once; an assumption."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._amiss())
        return self

    def idle(self) -> tuple[str, ...]:
        """An overload takes its own time, a surge count its window; by hand takes no time."""
        own_time = self.overload is not None or self.surge_cycles is not None
        return (("after",) if own_time else ()) + (
            ("reset_after",) if self.reset == "by hand" else ())

    @property
    def watched(self) -> str:
        """The cause in plain words, without its times."""
        kind = CAUSES[self.cause]
        value = show(self.limit, kind, digits=4) if kind else ""
        return {"overload": f"motor's heat at that of {value} continuous load",
                "speed": f"speed above {value} of rated",
                "stall_margin": f"stall margin below {value}",
                "surge_cycles": f"{self.surge_cycles} surge cycle"
                                f"{'' if self.surge_cycles == 1 else 's'}",
                "highest_pressure": f"pressure of the volume above {value}",
                "lowest_pressure": f"pressure of the volume below {value}"}[self.cause]

    @property
    def delay(self) -> str:
        """How long the cause must last, in plain words."""
        if self.overload is not None:
            return f"time constant {self.time_constant:g} s"
        if self.surge_cycles is not None:
            return f"within {self.window:g} s"
        return f"for {self.after:g} s" if self.after else ""

    @property
    def reset_words(self) -> str:
        """When what it did is over, in plain words."""
        if self.reset == "by hand":
            return "by hand, at the next start"
        return "by itself" + (f" after {self.reset_after:g} s" if self.reset_after else "")

    @property
    def words(self) -> tuple[str, str]:
        """(cause, effect) in plain words."""
        comma = ", " if self.overload is not None else " "
        what = self.watched + (f"{comma}{self.delay}" if self.delay else "")
        if self.bypass_at_start:
            what += f", bypassed for {self.bypass_at_start:g} s after a start"
        effect = {"alarm": "alarm", "trip": "trip: the motor loses its supply",
                  "run back": "run-back"}[self.effect]
        if self.output is not None:
            effect += f", output to {100.0 * self.output:g} % by hand"
        return what, effect

    def _amiss(self) -> Iterator[Problem]:
        yield from self.causes_amiss("two causes are two rows")
        yield from self._times_amiss()
        if self.effect == "run back" and self.output is None:
            yield Problem(("output",), "nothing", 'an output such as "30 %"', "output is missing")
        if self.effect == "alarm" and self.output is not None:
            yield Problem(("output",), f"{100.0 * self.output:g} %",
                          'no such key with effect = "alarm"')

    def _times_amiss(self) -> Iterator[Problem]:
        for key, cause, example, hint in (
            ("time_constant", "overload", '"10 min"',
             "how quickly the motor heats up; ask its maker"),
            ("window", "surge_cycles", '"60 s"', "the time in which the cycles are counted"),
        ):
            time = getattr(self, key)
            if (getattr(self, cause) is None) != (time is None):
                yield Problem((key,), "nothing" if time is None else f"{time:g} s",
                              f"a time such as {example}, with {cause}", hint)
        if self.surge_cycles is not None and self.after:
            yield Problem(("after",), f"{self.after:g} s", "no such key with surge_cycles",
                          "the window is its time")
        if self.reset == "by hand" and self.reset_after:
            yield Problem(("reset_after",), f"{self.reset_after:g} s",
                          'no such key without reset = "by itself"')
