"""Actuators, exactly advanced, and dead time."""

import math

from simfan.kernel.layout import inlined


@inlined
def move(y, target, up, down, lag, decay, h):
    """Position after a time h of dy/dt = (target − y)/lag, limited to the rates up and down.

    Exact for a constant target: full rate until the distance is rate·lag, then an exponential.
    `decay` is e^(-h/lag).
    """
    gap = abs(target - y)
    sign = 1.0 if target > y else -1.0
    rate = up if target > y else down
    near = rate * lag
    if gap <= near:
        return target - sign * gap * decay
    t = (gap - near) / rate
    if h <= t:
        return y + sign * rate * h
    if lag <= 0.0:
        return target
    return target - sign * near * math.exp((t - h) / lag)


@inlined
def delayed(queue, tick, delay, value):
    """Put the value of this tick into the ring and take out the one from `delay` ticks ago."""
    if delay == 0:
        return value
    n = queue.size
    queue[tick % n] = value
    return queue[(tick - delay) % n]
