"""The controller's tuning as the kernel takes it."""

from math import exp, inf
from typing import Any

from simfan.kernel.layout import OUTPUT, POSITION
from simfan.plant.case import Case, Strategy
from simfan.plant.control import Control, Controller
from simfan.plant.damper import OutletDamper


def controller(case: Case, strategy: Strategy) -> Controller:
    """The strategy's own controller, else the one for all; where it gives no gains they stand for
    nothing, and `simulate` runs it by hand alone."""
    found = case.control.given(strategy.controller) or Controller()
    return found if found.tuned else found.with_gains(1.0, 60.0)


def raises(case: Case, strategy: Strategy) -> bool:
    """Whether more output raises what is held.

    More output always means more flow. That lowers the pressure of a volume on the inlet side, and
    the pressure before an outlet damper.
    """
    second = strategy.second_loop
    moves = strategy.outlet_damper if not second or second.moves != "outlet damper" else None
    return more(case, case.control, moves)


def more(case: Case, control: Control, damper: OutletDamper | None) -> bool:
    """The same for any loop; `damper` is the one that it moves, if it does."""
    if control.holds == "flow":
        return True
    if case.ductwork.volume_side == "inlet":
        return control.measured_at == "fan" and damper is None
    if damper is None or control.measured_at == "process":
        return True
    return control.measured_at == "volume" and damper.place == "before volume"


def row(c: Controller, scan: float, sign: float, **more: Any) -> dict[str, Any]:
    """A record of `kernel.layout.LOOP` by field; `sign` is −1 where more output lowers the
    value."""
    tuning = c.standard
    gain, with_derivative = sign * tuning.gain, tuning.derivative > 0.0
    return {
        "gain": gain, "reset": tuning.reset,
        "derivative": gain * c.derivative_filter if with_derivative else 0.0,
        "derivative_decay": (exp(-c.derivative_filter * scan / tuning.derivative)
                             if with_derivative else 0.0),
        "weight": c.setpoint_weight, "low": c.output_low, "high": c.output_high,
        "most_change": scan / c.full_travel if c.full_travel else inf,
        "reset_from": POSITION if c.reset_from == "position" else OUTPUT, "actuator": 0,
        "source": -1, "inner": -1, "overrides": -1, "select": 0,
        "most_aim": scan / c.setpoint_full_span if c.setpoint_full_span else inf,
        "gap": c.gap or 0.0, "gap_share": c.gap_gain, "feed": 0, "feed_share": 1.0} | more
