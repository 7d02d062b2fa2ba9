"""A rotor under the torque of its own wheel, k·ω².

Closed forms: coast-down ω = ω₀/(1 + t/τ), τ = Jω₀/T₀; run-up under a constant torque T,
ω = √(T/k)·tanh(t·√(Tk)/J). Times calculated from them beforehand for the three invented fans on a
resistance parabola through the design point, no fixed pressure. Acceleration rule of the trade,
published: t = WK²·ΔN/(308·T) in lb·ft², rpm, lb·ft; with exact units the constant is 307.2.
"""

from math import pi

import numpy as np
import pytest

from simfan.kernel import layout
from simfan.plant.case import Case
from tests.plants import FANS, motor
from tests.published.record import checked
from tests.turning import crossing, driven, turn
from tests.wheels import on_its_parabola

COAST_DOWN = [("A", 6.51), ("B", 12.49), ("C", 25.93)]
RUN_UP = [("A", 5.72), ("B", 12.48), ("C", 31.72)]


LOSSLESS = {"check_damper": {"stroke_time": 0.5, "open_loss": 0.0},
            "isolation_damper": {"stroke_time": 10.0, "open_loss": 0.0}}
"""Dampers behind the fan that take nothing wide open."""


def on_a_short_duct(name: str, duration: float, dampers: dict | None = None, **drive: float
                    ) -> Case:
    """So short, and the volume so small, that the air adds nothing to the rotor."""
    flow = FANS[name]["design"]["Q_m3s"]
    ducts = {"discharge": {"length": 2.0, "area": 0.08 * flow}, "volume": 0.5 * flow,
             **(dampers or {})}
    return on_its_parabola(name, ductwork=ducts, strategies=driven(**drive),
                           run={"duration": duration, "starts_at": flow})


@pytest.mark.parametrize(("name", "expected"), COAST_DOWN)
def test_a_fan_coasts_down_to_half_speed_in(name: str, expected: float) -> None:
    """Half speed at τ, a quarter at 3τ."""
    time, traces, _ = turn(on_a_short_duct(name, 90.0), 1e-9, at_speed=True,
                           mode=layout.UNPOWERED)
    speed = traces.speed_ratio[:, 0]
    assert speed[0] == checked(1.0, "speed at the start", abs=1e-6)
    assert crossing(time, speed, 0.5) == checked(expected, "to half speed [s]", rel=0.002)
    assert crossing(time, speed, 0.25) == checked(3.0 * expected, "to a quarter [s]", rel=0.002)


@pytest.mark.parametrize(("name", "expected"), COAST_DOWN)
def test_through_open_dampers_behind_the_fan_it_coasts_down_no_otherwise(
    name: str, expected: float
) -> None:
    """Nothing but its own air drives the flow, so the check damper stays open."""
    time, traces, _ = turn(on_a_short_duct(name, 90.0, LOSSLESS), 1e-9, at_speed=True,
                           mode=layout.UNPOWERED)
    speed = traces.speed_ratio[:, 0]
    assert (traces.shutter_position == 1.0).all()
    assert crossing(time, speed, 0.5) == checked(expected, "to half speed [s]", rel=0.002)
    assert crossing(time, speed, 0.25) == checked(3.0 * expected, "to a quarter [s]", rel=0.002)


@pytest.mark.parametrize(("name", "expected"), RUN_UP)
def test_it_runs_up_no_otherwise_through_a_check_damper_that_its_air_opens(
    name: str, expected: float
) -> None:
    case = on_a_short_duct(name, 40.0, LOSSLESS, torque_limit=1.1, maximum=1.05)
    time, traces, _ = turn(case, 1e3, at_speed=False)
    assert traces.shutter_position[-1].tolist() == [1.0, 1.0]
    assert crossing(time, traces.speed_ratio[:, 0], 0.999) == checked(
        expected, "to 99.9 % [s]", rel=0.005)


@pytest.mark.parametrize("name", FANS)
def test_a_motor_on_the_line_brings_a_wheel_without_air_from_backwards_to_standstill(name: str
                                                                                    ) -> None:
    """At its start torque T: t = J·|ω|/T."""
    case = on_a_short_duct(name, 40.0, torque_limit=1.0, maximum=1.05)
    time, traces, plant = turn(case, 1e3, at_speed=-0.3, airless=True, mode=layout.ON_LINE)
    torque = float(plant.rotors.start[0, 0] * plant.rotors.each.rated_torque[0])
    speed = 0.3 * FANS[name]["design"]["N_rpm"] * pi / 30.0
    assert crossing(time, traces.speed_ratio[:, 0], 0.0) == checked(
        FANS[name]["J_kgm2"] * speed / torque, "to standstill [s]", rel=1e-3)


@pytest.mark.parametrize("name", FANS)
def test_a_wheel_turned_backwards_coasts_down_by_its_torque_at_shut_off(name: str) -> None:
    """T = g(0)·n² with no flow: half speed after J·|ω|/T, as forwards by its own load."""
    shut = {"isolation_damper": {"stroke_time": 10.0, "leakage": 1e-5}}
    time, traces, plant = turn(on_a_short_duct(name, 200.0, shut), 1e-9, at_speed=-0.5,
                               mode=layout.UNPOWERED, isolated=True)
    shut_off = float(plant.fans.backward[0, 0, 1])
    tau = float(plant.rotors.each.momentum[0]) / (0.5 * shut_off)
    assert crossing(time, traces.speed_ratio[:, 0], -0.25) == checked(
        tau, "to half speed [s]", rel=0.01)


@pytest.mark.parametrize(("name", "expected"), COAST_DOWN)
def test_a_drive_without_braking_slows_the_fan_no_faster(name: str, expected: float) -> None:
    """Its reference drops to zero at once."""
    time, traces, _ = turn(on_a_short_duct(name, 30.0), 1e-9, at_speed=True)
    assert traces.element_position[-1, 0] == 0.0
    assert traces.shaft_power[-1, 0] > 0.0
    assert crossing(time, traces.speed_ratio[:, 0], 0.5) == checked(
        expected, "to half speed [s]", rel=0.002)


def test_a_drive_with_braking_slows_it_faster() -> None:
    """Rated torque against kω²: ω = √(T/k)·tan(arctan(ω₀√(k/T)) − t√(Tk)/J), calculated."""
    time, traces, plant = turn(on_a_short_duct("B", 20.0, braking_torque=1.0), 1e-9, at_speed=True)
    T, J = float(plant.rotors.each.rated_torque[0]), FANS["B"]["J_kgm2"]
    w0 = 990.0 * pi / 30.0
    k = 241e3 / w0**3
    expected = J / np.sqrt(T * k) * (np.arctan(w0 * np.sqrt(k / T))
                                     - np.arctan(0.5 * w0 * np.sqrt(k / T)))
    assert crossing(time, traces.speed_ratio[:, 0], 0.5) == checked(
        expected, "to half speed [s]", rel=0.005)


@pytest.mark.parametrize(("name", "expected"), RUN_UP)
def test_a_fan_runs_up_at_the_torque_limit_in(name: str, expected: float) -> None:
    """From standstill to 99.9 % of rated speed at 1.1 of rated motor torque."""
    case = on_a_short_duct(name, 40.0, torque_limit=1.1, maximum=1.05)
    time, traces, plant = turn(case, 1e3, at_speed=False)
    assert plant.rotors.each.rated_torque[0] * plant.rotors.each.rated_speed[0] == checked(
        motor(name)["rating"], "rated power [W]", rel=1e-9)
    assert crossing(time, traces.speed_ratio[:, 0], 0.999) == checked(
        expected, "to 99.9 % [s]", rel=0.005)


@pytest.mark.parametrize("name", FANS)
def test_a_wheel_without_air_keeps_to_the_acceleration_rule(name: str) -> None:
    """From a tenth to nine tenths of rated speed at rated torque."""
    case = on_a_short_duct(name, 40.0, torque_limit=1.0, maximum=1.05)
    time, traces, plant = turn(case, 1e3, at_speed=False, airless=True)
    speed = traces.speed_ratio[:, 0]
    inertia = FANS[name]["J_kgm2"] / 0.0421401
    torque = float(plant.rotors.each.rated_torque[0]) / 1.3558179
    change = 0.8 * FANS[name]["design"]["N_rpm"]
    took = crossing(time, speed, 0.9) - crossing(time, speed, 0.1)
    assert took == checked(inertia * change / (308.0 * torque), "time, 308 [s]", rel=0.003)
    assert took == checked(inertia * change / (307.2 * torque), "time, 307.2 [s]", rel=0.0003)
