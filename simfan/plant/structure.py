"""Loops beside the one that holds the value: what they look at, what they move, who yields to whom.

    cascade       outer controller ─► setpoint of the inner controller ─► elements
    mid-ranging   fast: value ─► vanes;  slow: vanes' output ─► speed
    second loop   value ─► one element;  another value ─► the other element
    overrides     controller ─► selectors ◄─ limiting controllers;  output ─► elements
"""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.control import Control, Span
from simfan.plant.controller import Controller
from simfan.plant.devices import Transmitter
from simfan.plant.held import SpanOf
from simfan.plant.quantities import (
    DeadTime,
    Description,
    Fraction,
    HeldValue,
    Lag,
    Limits,
    Pressure,
    Quantity,
    Share,
    refuse,
)

LIMITS = ("motor_load", "stall_margin", "highest_pressure", "lowest_pressure")
"""Keys of what an override keeps; each has one of them."""
Between = Annotated[float, Quantity("fraction", Limits(above=0.0, below=1.0))]


def _no_gains(controller: Controller) -> Iterator[Problem]:
    """Only the loop of `control` is tuned to a robustness."""
    if not controller.tuned:
        yield Problem(("controller",), "a controller without gains", "gain and reset",
                      "gains are sought for the first loop alone")


class MidRanging(Description):
    """Vanes hold the value; a slow loop on speed brings the vanes back to their best position."""

    target: Between
    """Output to the vanes at which they shall rest."""
    controller: Controller
    """Of the slow loop, on speed: percent of its output per percent of the vanes' output."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(_no_gains(self.controller))
        return self


class Cascade(Description):
    """The controller sets the setpoint of an inner one, which moves the elements."""

    holds: Literal["speed", "flow", "pressure"]
    """What the inner loop holds."""
    measured_at: Literal["fan", "volume", "process"] = "fan"
    """Of a flow or a pressure, as in `control`. Default: at the fan; an assumption."""
    span: Annotated[Span | float | None, SpanOf()] = None
    """Of the inner transmitter; the outer output runs over it. Default: as in `control` for a flow;
    for a speed from standstill to the drive's maximum."""
    transmitter: Transmitter = Transmitter(lag=0.1)
    """Of the inner loop. Default: a lag of 0.1 s; an assumption."""
    controller: Controller
    """Of the inner loop."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*self._amiss(), *_no_gains(self.controller)])
        return self

    def idle(self) -> tuple[str, ...]:
        """What only a flow or a pressure feels."""
        return ("measured_at",) if self.holds == "speed" else ()

    def _amiss(self) -> Iterator[Problem]:
        if self.holds == "speed" and self.span is not None:
            yield Problem(("span",), "a span for a speed", "no such key",
                          "a speed is seen from standstill to the drive's maximum")
        if self.holds == "speed" and "measured_at" in self.model_fields_set:
            yield Problem(("measured_at",), "a place for a speed", "no such key",
                          "a speed is measured on the shaft")
        yield from _place_amiss(self.holds, self.measured_at, self.span)

    def as_control(self, outer: Control) -> Control:
        """The inner measurement as a loop of its own."""
        return _as_control(outer, self.holds, self.measured_at, self.span, self.transmitter)


class SecondLoop(Description):
    """Another value held at the same time, by one of two elements; the other element follows the
    first loop."""

    holds: Literal["flow", "pressure"]
    measured_at: Literal["fan", "volume", "process"] = "fan"
    """As in `control`. Default: at the fan; an assumption."""
    span: Annotated[Span | float | None, SpanOf()] = None
    """Of its transmitter. Default: as in `control` for a flow."""
    setpoint: HeldValue
    """Held through the run."""
    moves: Literal["outlet damper", "inlet vanes", "speed"]
    """The element that this loop moves."""
    transmitter: Transmitter = Transmitter()
    controller: Controller
    """Of this loop."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*_place_amiss(self.holds, self.measured_at, self.span),
                *_no_gains(self.controller)])
        return self

    def as_control(self, first: Control) -> Control:
        """The second measurement as a loop of its own."""
        return _as_control(first, self.holds, self.measured_at, self.span, self.transmitter)


class Override(Description):
    """A limiting controller that takes the output over, through a selector, before its limit is
    passed; its external reset is the selected output, so that it never winds up."""

    motor_load: Fraction | None = None
    """Not above this, of what the motor may give for good; or one of the other three."""
    stall_margin: Annotated[float, Quantity("fraction", Limits(least=-1.0, most=1.0))] | None = None
    """Not below this (Q − Q_stall)/Q."""
    highest_pressure: Pressure | None = None
    """The volume's not above this, against the air around it."""
    lowest_pressure: Pressure | None = None
    """The volume's not below this."""
    lag: Lag = 0.5
    """Of its measurement. Default: an assumption."""
    dead_time: DeadTime = 0.0
    """Of its measurement. Default: none; an assumption."""
    controller: Controller
    """Percent of output per percent of the measurement: of a motor load from 0 to 200 %, of a
    margin from −100 to 100 %, of a pressure from −2 to 2 times its limit."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*self._limits_amiss(), *_no_gains(self.controller)])
        return self

    def _limits_amiss(self) -> Iterator[Problem]:
        given = [name for name in LIMITS if getattr(self, name) is not None]
        if len(given) != 1:
            yield Problem((given[1],) if given else (), " and ".join(given) or "no limit",
                          f"one of {', '.join(LIMITS)}")

    @property
    def keeps(self) -> str:
        """Which of the limits it keeps."""
        return next(name for name in LIMITS if getattr(self, name) is not None)

    @property
    def limit(self) -> float:
        """The limit's value [1 or Pa]."""
        return float(getattr(self, self.keeps))


class Feedforward(Description):
    """A share of the output that the setpoint, as the demand, commands by itself: the output that
    the plant as designed needs for it, so that the controller only trims."""

    share: Annotated[float, Quantity("fraction", Limits(above=0.0, most=1.5))] = 1.0
    """Of that output. Default: all of it; an assumption."""
    lag: Lag = 0.0
    """Default: none; an assumption."""


class StallFloor(Description):
    """A lowest output that follows the stall line: at the volume's pressure as it is measured, the
    output at which the fan would run this far from its stall."""

    margin: Share = 0.1
    """(Q − Q_stall)/Q. Default: 10 %; common practice, no source."""
    lag: Lag = 0.5
    """Of the pressure's measurement. Default: an assumption."""


def _place_amiss(holds: str, measured_at: str, span: Span | float | None) -> Iterator[Problem]:
    if holds == "pressure" and span is None:
        yield Problem(("span",), "nothing", 'a pressure such as "5 kPa"', "span is missing")
    if holds == "flow" and measured_at == "volume":
        yield Problem(("measured_at",), '"volume" for a flow', '"fan" or "process"',
                      "a flow is measured in a duct")


def _as_control(outer: Control, holds: str, measured_at: str, span: Span | float | None,
                transmitter: Transmitter) -> Control:
    changes = {"holds": "flow" if holds == "speed" else holds, "measured_at": measured_at,
               "span": span, "transmitter": transmitter}
    return outer.model_copy(update=changes)
