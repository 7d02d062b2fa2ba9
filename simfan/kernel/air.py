"""Ideal gas."""

from simfan.kernel.layout import counted_nowhere


@counted_nowhere
def density(p, R, T):
    """ρ = p/(RT)."""
    return p / (R * T)


@counted_nowhere
def sound_squared(gamma, R, T):
    """c² = γRT."""
    return gamma * R * T
