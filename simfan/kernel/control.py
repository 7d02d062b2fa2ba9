"""The pieces of a PID controller in the standard form, on spans."""

import math

from simfan.kernel.layout import counted_nowhere


@counted_nowhere
def integral(I, reset_signal, derivative, setpoint, gain, weight, Ti, dt):
    """I after one scan: Ti·dI/dt = u_reset − D − I + Kc(1 − b)·r.

    External reset feedback. With weight b = 1 and the limited output as reset this is
    back-calculation with Tt = Ti.
    """
    return I + dt / Ti * (reset_signal - derivative - I + gain * (1.0 - weight) * setpoint)


@counted_nowhere
def gapped(error, gap, share):
    """The error with its gain cut to a share within ±gap, unbroken at the band's ends."""
    if abs(error) <= gap:
        return share * error
    return error - math.copysign(gap * (1.0 - share), error)


@counted_nowhere
def derivative(D, value, previous, amount, decay):
    """D after one scan: a step Δ of the value gives −Kc·N·Δ at once, dying with Td/N."""
    return D * decay - amount * (value - previous)


@counted_nowhere
def limited(wanted, previous, low, high, most_change):
    """Output within its limits, and no further from the last scan's than its rate allows."""
    return min(max(min(max(wanted, low), high), previous - most_change), previous + most_change)
