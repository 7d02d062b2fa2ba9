"""The loop: what is held, how it is measured, and the controller's tuning."""

from typing import Annotated, Literal

from simfan.plant.devices import Transmitter
from simfan.plant.quantities import Description, Limits, Plain, Quantity


class Controller(Description):
    """A PID controller in the standard form, with external reset feedback."""

    gain: Annotated[float, Plain(Limits(above=0.0, most=1000.0))]
    """[% of output per % of span]."""
    reset: Annotated[float, Quantity("time", Limits(above=0.0, most=86400.0))]
    """Integral time Ti."""
    derivative: Annotated[float, Quantity("time", Limits(least=0.0, most=3600.0))] = 0.0
    """Derivative time Td, on the measured value. Default: none; common practice, no source."""
    derivative_filter: Annotated[float, Plain(Limits(least=1.0, most=100.0))] = 8.0
    """N: the derivative is filtered with Td/N. Default: common practice, no source."""
    setpoint_weight: Annotated[float, Plain(Limits(least=0.0, most=1.0))] = 1.0
    """Share of a setpoint change that the proportional part sees. Default: all of it; common
    practice, no source."""
    reset_from: Literal["output", "position"] = "output"
    """Where the external reset is taken: the limited output, or the element's measured position.
    Default: the output, which needs no position feedback; an assumption."""


class Control(Description):
    """What the loop holds and how it looks at it."""

    holds: Literal["flow"] = "flow"
    """Default: flow, all that there is so far."""
    scan: Annotated[float, Quantity("time", Limits(least=0.001, most=60.0))]
    """Interval at which the controller runs."""
    span: Annotated[float, Quantity("volume flow", Limits(above=0.0, most=1e5))] | None = None
    """Transmitter span from zero. Default: 1.2 × the largest rated flow; an assumption."""
    measured_at: Literal["fan", "process"] = "fan"
    """Where the flow element stands. Default: at the fan; an assumption."""
    transmitter: Transmitter = Transmitter()
    controller: Controller | None = None
    """For every strategy that gives none of its own."""
