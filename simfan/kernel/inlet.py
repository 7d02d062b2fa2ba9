"""Vanes and inlet box damper without a measured family: pre-swirl and a loss before the wheel.

θ is the blade angle from open, α = min(κθ, 80°) the swirl, a = ℓ + (1 − ℓ)cos θ the open area.
"""

import math

from simfan.kernel.layout import inlined

MOST_SWIRL = math.radians(80.0)
QUARTER = math.radians(90.0)


@inlined
def tangent(turn, opening):
    """tan α."""
    return math.tan(min(turn * QUARTER * (1.0 - opening), MOST_SWIRL))


@inlined
def quadratic(loss, leakage, opening):
    """ζ·p_d/(ρ₀Q_d²)·(1/a² − 1) [1/m⁴]."""
    a = leakage + (1.0 - leakage) * math.cos(QUARTER * (1.0 - opening))
    return loss * (1.0 / (a * a) - 1.0)
