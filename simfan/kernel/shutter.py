"""Isolation and check dampers: a stroke of their own, and the loss of what is left open."""

import math

from simfan.kernel.layout import inlined


@inlined
def quadratic(shutters, i, y):
    """ζ/(2A²) [1/m⁴] at the open share y of the stroke.

        ζ = ζ_open + (1/(C·a) − 1)²,  a = ℓ + (1 − ℓ)y,  C = 0.63 + 0.37a³

    The jet through the open share a of the area contracts (Weisbach) and is lost (Borda–Carnot).
    """
    shutter = shutters[i]
    a = shutter.leakage + (1.0 - shutter.leakage) * y
    lost = 1.0 / ((0.63 + 0.37 * a * a * a) * a) - 1.0
    return (shutter.loss + lost * lost) / (2.0 * shutter.area * shutter.area)


@inlined
def moved(shutter, y, wanted, flow, h):
    """Position after a time h: towards what is wanted at its rate, or where its flow pushes it."""
    if wanted < 0.0:
        return y
    target = wanted
    if math.isnan(wanted):
        target = 1.0 if flow > 0.0 else 0.0
    if target > y:
        return min(y + shutter.rate_up * h, target)
    return max(y - shutter.rate_down * h, target)
