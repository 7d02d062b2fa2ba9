"""Run-up and coast-down through the procedures, against the closed forms of a rotor under k·ω².

Coast-down ω = ω₀/(1 + t/τ), τ = Jω₀/T₀; run-up under a constant torque T,
ω = √(T/k)·tanh(t·√(Tk)/J). Times calculated from them beforehand for the three invented fans on a
resistance parabola through the design point, no fixed pressure. The air is real here, with its mass
and its compression, so the tolerances are wider than those of the rotor alone.
"""

from math import atanh, pi, sqrt
from typing import Any

import pytest

from simfan.history import History
from simfan.simulate import simulate
from tests.plants import FANS
from tests.published.record import checked
from tests.published.test_against_rotor_mechanics import COAST_DOWN, RUN_UP
from tests.turning import crossing, driven
from tests.wheels import on_its_parabola


def carried_out(name: str, procedures: dict[str, Any], begins: str, starts: dict[str, Any],
                **drive: float) -> History:
    """On a duct so short that the air adds little to the rotor."""
    flow = FANS[name]["design"]["Q_m3s"]
    ducts = {"discharge": {"length": 2.0, "area": 0.08 * flow}, "volume": 0.5 * flow}
    return simulate(on_its_parabola(
        name, ductwork=ducts, strategies=driven(**drive), procedures=procedures,
        timeline=[{"at": 1.0, "procedure": begins}], run={"duration": 90.0} | starts), "speed")


@pytest.mark.parametrize(("name", "expected"), COAST_DOWN)
def test_a_stopped_fan_coasts_down_to_half_speed_in(name: str, expected: float) -> None:
    flow = FANS[name]["design"]["Q_m3s"]
    history = carried_out(name, {"stop": {"output": 1.0}}, "stop", {"starts_at": flow})
    off = next(h.at_s for h in history.log if h.what.endswith("motor off"))
    speed = history.trace("speed_ratio")
    assert speed[0] == checked(1.0, "speed at the start", abs=1e-3)
    assert crossing(history.time, speed, 0.5) - off == checked(
        expected, "motor off to half speed [s]", rel=0.015)


@pytest.mark.parametrize(("name", "expected"), RUN_UP)
def test_a_fan_is_started_at_the_torque_limit_in(name: str, expected: float) -> None:
    """At 1.1 of rated motor torque; the procedure waits for 98 % of the drive's highest speed."""
    flow = FANS[name]["design"]["Q_m3s"]
    start = {"output": 1.0, "speed_within": 80.0, "setpoint": flow}
    history = carried_out(name, {"start": start}, "start",
                          {"starts_at": "standstill", "setpoint": flow},
                          torque_limit=1.1, maximum=1.0)
    on = next(h.at_s for h in history.log if h.what.endswith("motor on"))
    took = crossing(history.time, history.trace("speed_ratio"), 0.98) - on
    f = FANS[name]
    w0 = f["design"]["N_rpm"] * pi / 30.0
    torque, k = 1.1 * f["motor_kW"] * 1e3 / w0, f["design"]["P_W"] / w0**3
    whole, part = (atanh(share * w0 * sqrt(k / torque)) for share in (0.999, 0.98))
    assert took == checked(expected * part / whole, "motor on to 98 % [s]", rel=0.03)
    assert history.facts.procedures[0].speed_after_s == checked(
        took, "as the log tells it [s]", abs=0.25)
