"""What turns the rotor: J·dω/dt = T_motor − T_wheel."""

from simfan.kernel import table
from simfan.kernel.layout import ON_DRIVE, ON_LINE, UNPOWERED, inlined


@inlined
def line_torque(rotors, i, n):
    """Torque of a motor on the line [N m].

    Up to breakdown slip s_b by Kloss, T = 2·T_b/(s/s_b + s_b/s) with s = 1 − n/n_synchronous;
    beyond it, where Kloss is far too low, by a curve through start, pull-up and breakdown torque.
    """
    s = 1.0 - n / rotors.each[i].synchronous
    b = rotors.each[i].breakdown_slip
    if s <= b:
        kloss = 2.0 * s * b / (s * s + b * b)
        return rotors.each[i].rated_torque * rotors.each[i].breakdown * kloss
    last = rotors.start.shape[1] - 1
    u = max(1.0 - s, 0.0) / (1.0 - b) * last
    k = min(int(u), last - 1)
    low = rotors.start[i, k]
    return rotors.each[i].rated_torque * (low + (u - k) * (rotors.start[i, k + 1] - low))


@inlined
def torque_limit(rotors, i, n):
    """Most torque a drive can give [N m]: by current, as 1/f above base; by breakdown, as 1/f²."""
    f = max(n / rotors.each[i].base_speed, 1.0)
    most = min(rotors.each[i].current_limit / f, rotors.each[i].breakdown / (f * f))
    return rotors.each[i].rated_torque * most


@inlined
def drive_torque(rotors, i, n, reference, load):
    """The load's torque plus what brings the speed to its reference, within the limits [N m]."""
    wanted = load + rotors.each[i].momentum * (reference - n) / rotors.each[i].lag
    least = -rotors.each[i].braking * rotors.each[i].rated_torque
    return max(min(wanted, torque_limit(rotors, i, n)), least)


@inlined
def motor_torque(rotors, i, n, reference, load):
    """Torque on the fan's shaft from whatever turns it [N m]."""
    if rotors.each[i].mode == ON_DRIVE:
        return drive_torque(rotors, i, n, reference, load)
    if rotors.each[i].mode == ON_LINE:
        return line_torque(rotors, i, n)
    return 0.0


@inlined
def load_share(rotors, i, n, torque):
    """Torque over what the motor may give for good: rated torque, above base speed rated power."""
    return torque / rotors.each[i].rated_torque * max(n / rotors.each[i].base_speed, 1.0)


@inlined
def electrical_power(rotors, i, n, torque):
    """Power from the supply [W]: shaft power plus losses at this load.

    A motor driven by its wheel gives nothing back.
    """
    if rotors.each[i].mode == UNPOWERED:
        return 0.0
    power = max(torque * n * rotors.each[i].rated_speed, 0.0)
    rated = rotors.each[i].rated_power
    return power + rated * table.line(rotors.loss[i, 0], rotors.loss[i, 1], power / rated)
