"""What turns the rotor: J·dω/dt = T_motor − T_wheel."""

from simfan.kernel import table
from simfan.kernel.layout import ON_DRIVE, ON_LINE, UNPOWERED, inlined


@inlined
def line_torque(rotors, i, n):
    """Kloss: T = 2·T_b/(s/s_b + s_b/s), slip s = 1 − n/n_synchronous [N m].

    Right near rated slip; its starting torque is far too low for a start on the line.
    """
    s = 1.0 - n / rotors.synchronous[i]
    b = rotors.breakdown_slip[i]
    return rotors.rated_torque[i] * rotors.breakdown[i] * 2.0 * s * b / (s * s + b * b)


@inlined
def torque_limit(rotors, i, n):
    """Most torque a drive can give [N m]: by current, as 1/f above base; by breakdown, as 1/f²."""
    f = max(n / rotors.base[i], 1.0)
    return rotors.rated_torque[i] * min(rotors.current_limit[i] / f, rotors.breakdown[i] / (f * f))


@inlined
def drive_torque(rotors, i, n, reference, load):
    """The load's torque plus what brings the speed to its reference, within the limits [N m]."""
    wanted = load + rotors.momentum[i] * (reference - n) / rotors.lag[i]
    least = -rotors.braking[i] * rotors.rated_torque[i]
    return max(min(wanted, torque_limit(rotors, i, n)), least)


@inlined
def motor_torque(rotors, i, n, reference, load):
    """Torque on the fan's shaft from whatever turns it [N m]."""
    if rotors.mode[i] == ON_DRIVE:
        return drive_torque(rotors, i, n, reference, load)
    if rotors.mode[i] == ON_LINE:
        return line_torque(rotors, i, n)
    return 0.0


@inlined
def load_share(rotors, i, n, torque):
    """Torque over what the motor may give for good: rated torque, above base speed rated power."""
    return torque / rotors.rated_torque[i] * max(n / rotors.base[i], 1.0)


@inlined
def electrical_power(rotors, i, n, torque):
    """Power from the supply [W]: shaft power plus losses at this load.

    A motor driven by its wheel gives nothing back.
    """
    if rotors.mode[i] == UNPOWERED:
        return 0.0
    power = max(torque * n * rotors.rated_speed[i], 0.0)
    rated = rotors.rated_power[i]
    return power + rated * table.line(rotors.loss[i, 0], rotors.loss[i, 1], power / rated)
