"""Actuators, exactly advanced; transmitters; dead time."""

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
def dragged(position, stem, backlash):
    """Position behind a gap: it is pushed only once the stem has crossed it."""
    return min(max(position, stem - 0.5 * backlash), stem + 0.5 * backlash)


@inlined
def unstuck(position, wanted, stick):
    """Position of an element that moves only in steps of its resolution."""
    return wanted if abs(wanted - position) >= stick else position


@inlined
def raw(share, root, noise, quantum):
    """The transmitter's signal as a share of its raw span, which it cannot leave.

    With `root` the raw signal is a differential pressure, the square of a flow.
    """
    x = share * abs(share) if root else share
    x += noise
    if quantum > 0.0:
        x = quantum * math.floor(x / quantum + 0.5)
    return min(max(x, 0.0), 1.0)


@inlined
def extracted(x, root, cut_off):
    """The reading as a share of span: the root of a differential pressure, zero below cut-off."""
    if not root:
        return x
    y = math.sqrt(x)
    return y if y >= cut_off else 0.0


@inlined
def beside(demand, previous, low, high):
    """A demand kept out of a band: on the side it comes from until it is across."""
    if demand <= low or demand >= high:
        return demand
    return low if previous <= low else high


@inlined
def delayed(queue, tick, delay, value):
    """Put the value of this tick into the ring and take out the one from `delay` ticks ago."""
    if delay == 0:
        return value
    n = queue.size
    queue[tick % n] = value
    return queue[(tick - delay) % n]
