"""The controller's tuning as the kernel takes it."""

from math import exp

import numpy as np

from simfan.kernel.layout import OUTPUT, POSITION, Loops
from simfan.plant.case import Case, Strategy
from simfan.plant.control import Controller

SPAN_SHARE = 1.2
"""Transmitter span over the largest rated flow where none is given. Common practice, no source."""


def controller(case: Case, strategy: Strategy) -> Controller:
    """The strategy's own controller, else the one for all."""
    found = strategy.controller or case.control.controller
    assert found is not None, "a strategy without a controller is refused by the case"
    return found


def span(case: Case) -> float:
    """Of the transmitter [m³/s], from zero."""
    return case.control.span or SPAN_SHARE * case.fan.flow[-1]


def loops(case: Case, strategy: Strategy) -> Loops:
    """One loop that moves one element."""
    c = controller(case, strategy)
    scan = case.control.scan
    with_derivative = c.derivative > 0.0

    def one(value: float) -> np.ndarray:
        return np.array([float(value)])

    return Loops(
        gain=one(c.gain), reset=one(c.reset),
        derivative=one(c.gain * c.derivative_filter if with_derivative else 0.0),
        derivative_decay=one(exp(-c.derivative_filter * scan / c.derivative)
                             if with_derivative else 0.0),
        weight=one(c.setpoint_weight), span=one(span(case)),
        reset_from=np.array([POSITION if c.reset_from == "position" else OUTPUT]),
        actuator=np.array([0]),
    )
