"""The loop: what is held, how it is measured, and the controller's tuning."""

from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.controller import Controller
from simfan.plant.devices import Transmitter
from simfan.plant.held import SpanOf, kind_amiss, kind_of
from simfan.plant.quantities import (
    AbsolutePressure,
    Description,
    HeldValue,
    Limits,
    Plain,
    Quantity,
    Share,
    Temperature,
    refuse,
)
from simfan.units import show

__all__ = ["Control", "Controller", "Normal", "Span"]
SOUGHT = ("tuning", "max_sensitivity")
"""Keys that mean nothing where all gains are given."""
OF_A_FLOW = ("square_root", "low_flow_cutoff", "density_compensated")
"""Keys of a transmitter that mean nothing to a pressure."""


class Normal(Description):
    """The state at which a normal volume flow is counted."""

    pressure: AbsolutePressure = 101325.0
    """Default: the normal state of DIN 1343; from memory."""
    temperature: Temperature = 273.15
    """Default: the normal state of DIN 1343; from memory."""


class Span(Description):
    """What a transmitter shows at its two ends."""

    low: HeldValue
    """May be negative for a pressure, such as a furnace's draft."""
    high: HeldValue

    @model_validator(mode="after")
    def _valid(self) -> Self:
        one, other = kind_of(self.low), kind_of(self.high)
        if one and other and one != other:
            refuse([Problem(("high",), f"a {other} where low is a {one}", "the two of one kind")])
        if self.low >= self.high:
            kind = one or other
            words = [show(x, kind) if kind else f"{x:g}" for x in (self.low, self.high)]
            refuse([Problem(("low",), words[0], f"less than high, {words[1]}")])
        return self


class LostSignal(Description):
    """What the controller does while its transmitter's signal is lost."""

    answer: Literal["hold output", "go to output", "manual"]
    """Hold the output, or go to `output`, until the signal is back, then automatic without a bump;
    or to manual, until somebody puts it back to automatic."""
    output: Share | None = None
    """With answer = "go to output"."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        if (self.answer == "go to output") != (self.output is not None):
            refuse([Problem(("output",), "nothing" if self.output is None else
                            f"{100.0 * self.output:g} %",
                            'an output such as "30 %", with answer = "go to output"')])
        return self

    @property
    def words(self) -> str:
        """For the log."""
        return {"hold output": "the controller holds its output",
                "go to output": f"the controller goes to {100.0 * (self.output or 0.0):.4g} %",
                "manual": "the controller goes to manual"}[self.answer]


class Control(Description):
    """What the loop holds and how it looks at it."""

    holds: Literal["flow", "pressure"] = "flow"
    """Default: flow; an assumption."""
    flow_basis: Literal["actual", "mass", "normal"] = "actual"
    """How a flow is counted: actual volume, mass, or volume at a normal state. Default: actual,
    at the flow element; an assumption."""
    normal: Normal = Normal()
    """The state of a normal flow."""
    scan: Annotated[float, Quantity("time", Limits(least=0.001, most=60.0))]
    """Interval at which the controller runs."""
    span: Annotated[Span | float | None, SpanOf()] = None
    """Of the transmitter: from zero, or from low to high. Default: 1.2 × the largest rated flow;
    an assumption."""
    measured_at: Literal["fan", "volume", "process"] = "fan"
    """Where the element stands: a flow at the fan or the process, a pressure at the fan's outlet,
    at the volume or in front of the process. Default: at the fan; an assumption."""
    transmitter: Transmitter = Transmitter()
    lost_signal: LostSignal | None = None
    """How the controller answers a lost signal. Left out, it goes on with what the signal shows."""
    controller: Controller | None = None
    """For every strategy that gives none of its own."""
    tuning: Literal["equal robustness"] = "equal robustness"
    """What is done for a strategy that gives no gains: a PI is sought with the best load rejection
    whose largest sensitivity, over one range common to all strategies, is `max_sensitivity`.
    Default: so that strategies can be compared; an assumption."""
    max_sensitivity: Annotated[float, Plain(Limits(least=1.1, most=3.0))] = 1.6
    """Ms, largest |S| = |1/(1 + L)| over the range, to which gains are sought. Default: common
    practice, no source."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        amiss = self._flow_amiss() if self.holds == "flow" else self._pressure_amiss()
        refuse([*amiss, *self._span_amiss(), *self._tuning_amiss()])
        return self

    def idle(self) -> tuple[str, ...]:
        """What only a normal flow, or only a flow, feels."""
        normal = () if self.flow_basis == "normal" else ("normal",)
        if self.holds == "flow":
            return normal
        return (*normal, "flow_basis", *(f"transmitter.{key}" for key in OF_A_FLOW))

    def given(self, own: Controller | None) -> Controller | None:
        """The controller of a strategy: its own, else the one for all; None where neither is."""
        return own or self.controller

    @property
    def held_kind(self) -> Literal["volume flow", "mass flow", "pressure"]:
        """What setpoints are, as a kind of quantity."""
        if self.holds == "pressure":
            return "pressure"
        return "mass flow" if self.flow_basis == "mass" else "volume flow"

    @property
    def span_ends(self) -> tuple[float, float] | None:
        """Lowest and highest reading [SI]; None where no span is given."""
        if self.span is None:
            return None
        return (self.span.low, self.span.high) if isinstance(self.span, Span) else (0.0, self.span)

    def _flow_amiss(self) -> Iterator[Problem]:
        if self.measured_at == "volume":
            yield Problem(("measured_at",), '"volume" for a flow', '"fan" or "process"',
                          "a flow is measured in a duct")
        if self.flow_basis != "normal" and "normal" in self.model_fields_set:
            yield Problem(("normal",), f'a normal state with flow_basis "{self.flow_basis}"',
                          'no such key, or flow_basis = "normal"')
        if self.transmitter.square_root and self.span_ends and self.span_ends[0] != 0.0:
            yield Problem(("span", "low"), show(self.span_ends[0], self.held_kind),
                          "zero, with control.transmitter.square_root",
                          "a differential pressure of zero is a flow of zero")

    def _pressure_amiss(self) -> Iterator[Problem]:
        if self.span is None:
            yield Problem(("span",), "nothing",
                          'a pressure such as "5 kPa", from zero, or a table such as '
                          '{ low = "-500 Pa", high = "100 Pa" }',
                          "span is missing: where a pressure is held there is no default for it")
        for key in ("flow_basis", "normal"):
            if key in self.model_fields_set:
                yield Problem((key,), f"{key} where a pressure is held", 'no such key, or '
                              'holds = "flow"')
        for key in OF_A_FLOW:
            if key in self.transmitter.model_fields_set:
                yield Problem(("transmitter", key), f"{key} where a pressure is held",
                              'no such key, or holds = "flow"')

    def _tuning_amiss(self) -> Iterator[Problem]:
        """Gains are given or sought."""
        for key in SOUGHT:
            if key in self.model_fields_set and self.controller and self.controller.tuned:
                yield Problem((key,), f"{key} beside the gains of control.controller",
                              f"gains or {key}",
                              f"without {key} the given gains are used; without them gains are "
                              "sought")

    def _span_amiss(self) -> Iterator[Problem]:
        """The kind of what is held, and room between the ends."""
        if isinstance(self.span, Span):
            yield from kind_amiss(("span", "low"), self.span.low, self.held_kind, self.said)
            if self.holds == "flow" and self.span.low < 0.0:
                yield Problem(("span", "low"), show(self.span.low, self.held_kind),
                              "zero or more, for a flow")
        elif self.span is not None:
            yield from kind_amiss(("span",), self.span, self.held_kind, self.said)
            if self.span <= 0.0:
                yield Problem(("span",), show(self.span, self.held_kind), "above zero",
                              'a span that ends at zero is { low = "-500 Pa", high = "0 Pa" }')

    @property
    def said(self) -> str:
        """Why a held quantity is of its kind, in the words of the file."""
        if self.holds == "pressure":
            return 'control.holds = "pressure"'
        return f'control.holds = "flow" with flow_basis = "{self.flow_basis}"'
