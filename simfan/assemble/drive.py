"""The motor on the line or on a drive."""

from math import sqrt

import numpy as np
from scipy.interpolate import PchipInterpolator

from simfan.kernel.layout import ON_DRIVE, ON_LINE, ROTOR, Rotors, rows
from simfan.plant.drive import Motor, SpeedDrive
from simfan.plant.fan import Fan

LOADS = np.array([0.0, 0.10, 0.25, 0.50, 1.00, 1.50])
"""Share of rated power."""
MOTOR_PART_LOAD = np.array([np.nan, 0.866, 0.980, 1.0, 1.0, 1.0])
"""Efficiency over that at rated load, motors of 75 hp and more (`fluids` 1.3, function
`motor_efficiency_underloaded`)."""
DRIVE_PART_LOAD = np.array([np.nan, 0.905, 0.95, 0.97, 0.97, 0.97]) / 0.97
"""Efficiency over that at rated load, drives of 200 to 400 hp: 12.5/25/50/100 % load give
91/95/97/97 % (`fluids` 1.3, function `VFD_efficiency`); 10 % extrapolated."""


N_START = 65
"""Points of the torque curve of a start."""


def rotors(fan: Fan, motor: Motor, drive: SpeedDrive | None, actuator: int) -> Rotors:
    """One rotor; `actuator` carries the speed reference when there is a drive."""
    breakdown = motor.breakdown_torque
    slip = motor.slip * (breakdown + sqrt(breakdown**2 - 1.0))
    w0 = fan.rated.speed

    each = rows(
        ROTOR,
        mode=ON_DRIVE if drive else ON_LINE,
        rated_speed=w0,
        momentum=fan.inertia * w0,
        rated_torque=motor.rated_torque,
        rated_power=motor.rating,
        synchronous=motor.synchronous_speed / w0,
        base_speed=motor.rated_speed / w0,
        breakdown=breakdown,
        breakdown_slip=slip,
        current_limit=drive.torque_limit if drive else 0.0,
        braking=drive.braking_torque if drive else 0.0,
        lag=drive.lag if drive else 1.0,
        actuator=actuator if drive else -1,
    )
    return Rotors(each, start_torque(motor)[None], losses(motor, drive)[None])


def start_torque(motor: Motor) -> np.ndarray:
    """(N_START,) torque over rated torque from standstill to breakdown, through pull-up torque at a
    third of that speed; shape-keeping between."""
    curve = PchipInterpolator([0.0, 1.0 / 3.0, 1.0], [motor.start_torque, motor.pull_up_torque,
                                                      motor.breakdown_torque])
    return curve(np.linspace(0.0, 1.0, N_START))


def losses(motor: Motor, drive: SpeedDrive | None) -> np.ndarray:
    """(2, n) share of rated power and losses over rated power, s·(1/η − 1).

    Below a tenth of the load the losses stay what they are at a tenth.
    """
    efficiency = motor.efficiency * MOTOR_PART_LOAD * motor.belt_efficiency
    if drive:
        efficiency = efficiency * drive.efficiency * DRIVE_PART_LOAD
    loss = LOADS * (1.0 / efficiency - 1.0)
    loss[0] = loss[1]
    return np.array([LOADS, loss])
