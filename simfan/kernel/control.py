"""The pieces of a PID controller in the standard form, on spans."""

from simfan.kernel.layout import inlined


@inlined
def integral(I, reset_signal, derivative, setpoint, gain, weight, Ti, dt):
    """I after one scan: Ti·dI/dt = u_reset − D − I + Kc(1 − b)·r.

    External reset feedback. With weight b = 1 and the limited output as reset this is
    back-calculation with Tt = Ti.
    """
    return I + dt / Ti * (reset_signal - derivative - I + gain * (1.0 - weight) * setpoint)


@inlined
def derivative(D, value, previous, amount, decay):
    """D after one scan: a step Δ of the value gives −Kc·N·Δ at once, dying with Td/N."""
    return D * decay - amount * (value - previous)
