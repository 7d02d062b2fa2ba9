"""The controller's tuning as the kernel takes it."""

from math import exp, inf

import numpy as np

from simfan.kernel.layout import LOOP, OUTPUT, POSITION, rows
from simfan.plant.case import Case, Strategy
from simfan.plant.control import Controller


def controller(case: Case, strategy: Strategy) -> Controller:
    """The strategy's own controller, else the one for all."""
    found = strategy.controller or case.control.controller
    assert found is not None, "a strategy without a controller is refused by the case"
    return found


def raises(case: Case, strategy: Strategy) -> bool:
    """Whether more output raises what is held.

    More output always means more flow. That lowers the pressure of a volume on the inlet side, and
    the pressure before an outlet damper.
    """
    control, damper = case.control, strategy.outlet_damper
    if control.holds == "flow":
        return True
    if case.ductwork.volume_side == "inlet":
        return control.measured_at == "fan" and damper is None
    if damper is None or control.measured_at == "process":
        return True
    return control.measured_at == "volume" and damper.place == "before volume"


def loops(case: Case, strategy: Strategy) -> np.recarray:
    """One loop."""
    c = controller(case, strategy)
    tuning, scan = c.standard, case.control.scan
    gain = tuning.gain if raises(case, strategy) else -tuning.gain
    with_derivative = tuning.derivative > 0.0

    return rows(
        LOOP, gain=gain, reset=tuning.reset,
        derivative=gain * c.derivative_filter if with_derivative else 0.0,
        derivative_decay=(exp(-c.derivative_filter * scan / tuning.derivative)
                          if with_derivative else 0.0),
        weight=c.setpoint_weight, low=c.output_low, high=c.output_high,
        most_change=scan / c.full_travel if c.full_travel else inf,
        reset_from=POSITION if c.reset_from == "position" else OUTPUT, actuator=0)
