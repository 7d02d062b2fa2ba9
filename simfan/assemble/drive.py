"""The motor on the line or on a drive."""

from math import sqrt

import numpy as np
from scipy.interpolate import PchipInterpolator

from simfan.kernel.layout import ON_DRIVE, ON_LINE, ROTOR, Rotors, rows
from simfan.plant.drive import Motor, SpeedDrive
from simfan.plant.fan import Fan
from simfan.plant.part_load import PartLoad

LOADS = np.array([0.0, 0.10, 0.25, 0.50, 1.00, 1.50])
"""Share of rated power."""
MOTOR_PART_LOAD = np.array([0.866, 0.980, 1.0, 1.0, 1.0])
"""At LOADS above zero: efficiency over that at rated load, motors of 75 hp and more (`fluids` 1.3,
function `motor_efficiency_underloaded`)."""
DRIVE_PART_LOAD = np.array([0.891, 0.95, 0.97, 0.97, 0.97]) / 0.97
"""At LOADS above zero: efficiency over that at rated load, drives of 200 to 400 hp: 91/95/97/97 %
at 12.5/25/50/100 % load (`fluids` 1.3, function `VFD_efficiency`); the point at 10 % is such that
the losses meet the one at 12.5 %."""


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

    Below the lowest load that is known the losses stay what they are there.
    """
    given = [device.part_load.load for device in (motor, drive) if device and device.part_load]
    loads = np.unique(np.concatenate([LOADS, *given]))
    efficiency = motor.belt_efficiency * _efficiency(
        loads[1:], motor.part_load, motor.efficiency * MOTOR_PART_LOAD)
    if drive:
        efficiency = efficiency * _efficiency(
            loads[1:], drive.part_load, drive.efficiency * DRIVE_PART_LOAD)
    loss = loads[1:] * (1.0 / efficiency - 1.0)
    return np.array([loads, [loss[0], *loss]])


def _efficiency(loads: np.ndarray, given: PartLoad | None, default: np.ndarray) -> np.ndarray:
    """η = 1/(1 + loss/s) at loads s above zero, the losses on straight lines between points."""
    known, points = map(np.array, (given.load, given.efficiency) if given else
                        (LOADS[1:], default))
    loss = np.interp(loads, known, known * (1.0 / points - 1.0))
    return np.where(loads > known[-1], points[-1], 1.0 / (1.0 + loss / loads))
