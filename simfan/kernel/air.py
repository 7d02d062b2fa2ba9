"""Ideal gas."""

from simfan.kernel.layout import inlined


@inlined
def density(p, R, T):
    """ρ = p/(RT)."""
    return p / (R * T)


@inlined
def sound_squared(gamma, R, T):
    """c² = γRT."""
    return gamma * R * T
