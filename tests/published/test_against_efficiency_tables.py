"""Efficiency of motors and drives at part load.

Tables of `fluids` 1.3: `motor_efficiency_underloaded` (75 hp and more: 10 % load .866, 25 % .980,
50 % and more 1.000 of that at full load) and `VFD_efficiency` (200 to 400 hp: 91, 95, 97 and 97 %
at 12.5, 25, 50 and 100 % load). Efficiencies of IEC 60034-30-1, class IE3, four poles, 50 Hz, are
from memory; the current is I = P/(√3·V·η·cos φ) [calc].
"""

from math import sqrt

import numpy as np
import pytest

from simfan.assemble.drive import losses
from simfan.plant.drive import Motor, SpeedDrive
from tests.published.record import checked

MOTOR = {0.10: 0.866, 0.25: 0.980, 0.50: 1.0, 1.0: 1.0}
"""Load → efficiency over that at full load."""
DRIVE = {0.125: 0.91, 0.25: 0.95, 0.50: 0.97, 1.0: 0.97}
"""Load → efficiency."""
IE3 = {22e3: 0.930, 75e3: 0.950, 160e3: 0.958, 200e3: 0.960}
"""Rating [W] → efficiency at full load."""


def efficiency(motor: Motor, load: float, drive: SpeedDrive | None = None) -> float:
    """Shaft power over power from the supply, by the table of losses that a run uses."""
    share, loss = losses(motor, drive)
    return float(load / (load + np.interp(load, share, loss)))


def motor(**more: object) -> Motor:
    return Motor.model_validate({"rating": 160e3, "poles": 4, "efficiency": 0.958, **more})


def drive(**more: object) -> SpeedDrive:
    return SpeedDrive.model_validate({"ramp_up": 40.0, "ramp_down": 60.0, **more})


@pytest.mark.parametrize(("load", "share"), MOTOR.items())
def test_a_motor_s_efficiency_at_part_load(load: float, share: float) -> None:
    assert efficiency(motor(), load) == checked(0.958 * share, f"at {load:.0%} load", abs=5e-4)


@pytest.mark.parametrize(("load", "expected"), DRIVE.items())
def test_a_drive_s_efficiency_at_part_load(load: float, expected: float) -> None:
    """Beside a motor that loses nothing, by points of its own."""
    ideal = motor(efficiency=1.0, part_load={"load": [0.1, 1.0], "efficiency": [1.0, 1.0]})
    assert efficiency(ideal, load, drive()) == checked(expected, f"at {load:.1%} load", abs=5e-4)


@pytest.mark.parametrize(("rating", "expected"), IE3.items())
def test_the_maker_s_points_take_the_place_of_the_table(rating: float, expected: float) -> None:
    """Both tables typed in as points of a motor and of a drive give their product; at full load the
    motor's is that of its class."""
    points = {"load": list(MOTOR), "efficiency": [expected * share for share in MOTOR.values()]}
    mine = motor(rating=rating, efficiency=expected, part_load=points)
    assert efficiency(mine, 1.0) == checked(expected, "motor at full load", abs=1e-9)
    both = drive(part_load={"load": list(DRIVE), "efficiency": list(DRIVE.values())})
    for load in (0.25, 0.50, 1.0):
        assert efficiency(mine, load, both) == checked(
            expected * MOTOR[load] * DRIVE[load], f"motor and drive at {load:.0%}", abs=1e-9)


def test_below_the_first_point_the_losses_stay_and_beyond_the_last_the_efficiency() -> None:
    """By hand: 1/.95 − 1 at half load is .026316 of the rating; a tenth of the load then has
    .1/(.1 + .026316) = .79167."""
    mine = motor(part_load={"load": [0.5, 1.0], "efficiency": [0.95, 0.958]})
    assert efficiency(mine, 0.1) == checked(0.79167, "at 10 % load", abs=5e-6)
    assert efficiency(mine, 1.25) == checked(0.958, "at 125 % load", abs=1e-9)


@pytest.mark.parametrize(("rating", "voltage", "eta", "factor", "current"), [
    (315e3, 690.0, 0.958, 0.86, 319.9), (22e3, 400.0, 0.93, 0.84, 40.65)])
def test_the_current_at_full_load_is_that_of_the_nameplate(
        rating: float, voltage: float, eta: float, factor: float, current: float) -> None:
    """With points of part load as without; from the power that the supply then gives."""
    mine = motor(rating=rating, voltage=voltage, efficiency=eta, power_factor=factor,
                 part_load={"load": [0.5, 1.0], "efficiency": [0.9, eta]})
    supply = rating / efficiency(mine, 1.0)
    assert mine.rated_current == checked(current, "rated current [A]", rel=2e-4)
    assert supply / (sqrt(3.0) * voltage * factor) == checked(current, "current [A]", rel=2e-4)
