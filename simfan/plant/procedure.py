"""Start-up, stop, restart after a trip and run-back: what the operator or the sequence does, and
what it waits for."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.quantities import (
    Description,
    Fraction,
    HeldValue,
    Limits,
    Plain,
    Pressure,
    Quantity,
    Share,
    Time,
    VolumeFlow,
    refuse,
)
from simfan.plant.watch import Watch
from simfan.units import show

Wait = Annotated[float, Quantity("time", Limits(above=0.0, most=86400.0))]
StallMargin = Annotated[float, Quantity("fraction", Limits(least=-1.0, most=1.0))]

CONDITIONS = {"load_above": "fraction", "stall_margin_below": "fraction",
              "pressure_above": "pressure", "pressure_below": "pressure"}
"""What a run-back may wait for → kind of its limit."""


class Purge(Description):
    """So much flow, proven for so long without a break, before the fan is released. How much, how
    long and with what proof is for the burner's maker and local codes to say."""

    output: Share
    """Where the controller's output stands by hand meanwhile."""
    flow: VolumeFlow
    """At the fan's inlet, at least."""
    lasts: Wait
    """Without a break; it counts anew after one."""
    within: Wait = 600.0
    """The start is given up where the purge is not proven so soon. Default: an assumption."""


class Start(Description):
    """From a motor that is off to a loop in automatic at its setpoint."""

    output: Share = 0.0
    """Where the controller's output stands by hand while the fan runs up. Default: 0 %, dampers and
    vanes at their least and a drive at its lowest speed; common practice, no source."""
    isolation_damper: Literal["shut", "open"] = "shut"
    """While the fan runs up; shut it is opened once the speed is reached. Default: shut, which
    takes the load off a radial fan; common practice, no source."""
    backspin: Share = 0.02
    """The motor is not switched on while the wheel turns backwards faster than this, of rated
    speed. Default: an assumption."""
    permissives_within: Wait = 120.0
    """The start is given up where its permissives do not hold so soon. Default: an assumption."""
    speed_within: Wait
    """The start has failed, and the motor is switched off, where the speed is not reached so soon:
    98 % of synchronous speed on the line, of its reference on a drive. Ask the motor's maker."""
    purge: Purge | None = None
    setpoint: HeldValue
    """To which the loop goes once it is released."""
    over: Time = 0.0
    """Length of that ramp. Zero, or left out, is a step."""


class Stop(Description):
    """From a loop in automatic to a wheel at rest."""

    output: Share = 0.0
    """Where the controller's output is taken by hand before the motor goes off. Default: 0 %;
    common practice, no source."""
    over: Time = 0.0
    """Length of that ramp. Zero, or left out, is a step."""
    isolation_damper: Literal["shut", "open"] = "shut"
    """Once the motor is off. Default: shut, or the pressure of the process turns the wheel; common
    practice, no source."""
    at_rest: Annotated[float, Quantity("fraction", Limits(above=0.0, most=0.5))] = 0.02
    """The wheel counts as standing below this, of rated speed: the model has no bearing friction,
    so its last turns take longer than real ones. Default: an assumption."""
    standstill_within: Wait = 1800.0
    """A wheel that still turns after so long is told. Default: an assumption."""


class Restart(Description):
    """A start after a protection has tripped the motor. Nobody restarts a plant before the cause of
    the trip is known; this shows what a restart would meet."""

    wait: Time
    """After the trip; then the trips are reset."""
    speed_below: Fraction | None = None
    """The wheel must have come down to this first, of rated speed. Default: it may turn; an
    assumption."""
    attempts: Annotated[int, Plain(Limits(least=1, most=100), whole=True)] = 1
    """Trips after which it starts again. Default: one; an assumption."""


class RunBack(Watch):
    """The setpoint taken back, the loop still in automatic, once something lasted so long; again
    only after it was gone. Back is to less flow: it never goes the other way."""

    causes = CONDITIONS

    load_above: Fraction | None = None
    """Of what the motor may give for good."""
    stall_margin_below: StallMargin | None = None
    """(Q − Q_stall)/Q."""
    pressure_above: Pressure | None = None
    """Of the volume, against the air around it."""
    pressure_below: Pressure | None = None
    """Of the volume, against the air around it."""
    after: Time = 0.0
    """It must last so long. Default: at once; an assumption."""
    setpoint: HeldValue
    """The new setpoint; one that asks for less flow already stays."""
    over: Time = 0.0
    """Length of the ramp. Zero, or left out, is a step."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self.causes_amiss("two conditions are two run-backs"))
        return self

    @property
    def words(self) -> str:
        """Such as "motor load above 95 % for 10 s"."""
        what, _, side = self.cause.rpartition("_")
        name = {"load": "motor load", "stall_margin": "stall margin",
                "pressure": "pressure of the volume"}[what]
        value = show(self.limit, CONDITIONS[self.cause], digits=4)
        return f"{name} {side} {value}" + (f" for {self.after:g} s" if self.after else "")


class Procedures(Description):
    """What is done in steps that wait for the plant. Start and stop begin where an event of the
    timeline says so; a restart and the run-backs are on watch from the beginning."""

    start: Start | None = None
    """Begins with an event `procedure = "start"`."""
    stop: Stop | None = None
    """Begins with an event `procedure = "stop"`."""
    restart: Restart | None = None
    """Needs a start."""
    run_back: tuple[RunBack, ...] = ()
    """Each looks by itself."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._amiss())
        return self

    def _amiss(self) -> Iterator[Problem]:
        if self.restart and not self.start:
            yield Problem(("start",), "a restart without a start", "a table procedures.start",
                          "a restart takes the steps of the start")
