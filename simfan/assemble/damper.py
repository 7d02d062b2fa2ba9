"""The loss of louvre dampers."""

from collections.abc import Iterator
from math import log

import numpy as np

from simfan.errors import Problem
from simfan.plant.damper import OutletDamper

LEFT = 15.0 / 90.0
RIGHT = {"opposed": 55.0 / 90.0, "parallel": 65.0 / 90.0}
SLOPE = {"opposed": 0.105 * 90.0, "parallel": 0.0842 * 90.0}
LEVEL = -1.51
"""ln ζ = a + b(1 − y) between the knots: Legg's fit as used in ASHRAE 825-RP (Haves, Norford,
DeSimone, Mei 1998), read as quoted by others."""


def log_loss(damper: OutletDamper) -> tuple[np.ndarray, np.ndarray]:
    """(2,) knots and (3, 3) quadratics of ln ζ in the opening y.

    Between the knots a line; outside it a quadratic, continuous in value and slope, that ends at
    the loss shut (y = 0) and open (y = 1).
    """
    right, b = RIGHT[damper.blades], SLOPE[damper.blades]
    between = np.array([LEVEL + b, -b, 0.0])
    shut = _quadratic(LEFT, LEVEL + b * (1.0 - LEFT), -b, 0.0, log(damper.shut_loss))
    opened = _quadratic(right, LEVEL + b * (1.0 - right), -b, 1.0, log(damper.open_loss))
    return np.array([LEFT, right]), np.array([shut, between, opened])


def problems(damper: OutletDamper, path: tuple[str, ...]) -> Iterator[Problem]:
    """A loss that would not fall all the way as the damper opens."""
    knots, (shut, _, opened) = log_loss(damper)
    for key, slope, given, word in (
        ("shut_loss", shut[1], damper.shut_loss, "higher"),
        ("open_loss", opened[1] + 2.0 * opened[2], damper.open_loss, "lower"),
    ):
        if slope > 0.0:
            yield Problem((*path, key), f"{given:g}", f"a {word} loss for {damper.blades} blades",
                          "the published curve between 15 and "
                          f"{90.0 * knots[1]:.0f} degrees open joins on to no falling loss there")


def _quadratic(x: float, value: float, slope: float, x_end: float, end: float) -> np.ndarray:
    """c0 + c1·y + c2·y² with value and slope at x, and a value at x_end."""
    d = x_end - x
    c2 = (end - value - slope * d) / d**2
    return np.array([value - slope * x + c2 * x * x, slope - 2.0 * c2 * x, c2])
