"""The loss of louvre dampers."""

from collections.abc import Iterator
from math import log

import numpy as np
from scipy.interpolate import PchipInterpolator

from simfan.errors import Problem
from simfan.kernel.layout import LOUVRE, Dampers, blank, rows
from simfan.plant.damper import DamperLosses, OutletDamper

LEFT = 15.0 / 90.0
RIGHT = {"opposed": 55.0 / 90.0, "parallel": 65.0 / 90.0}
SLOPE = {"opposed": 0.105 * 90.0, "parallel": 0.0842 * 90.0}
LEVEL = -1.51
"""ln ζ = a + b(1 − y) between the knots: Legg's fit as used in ASHRAE 825-RP (Haves, Norford,
DeSimone, Mei 1998), read as quoted by others."""


def log_loss(damper: OutletDamper) -> tuple[np.ndarray, np.ndarray]:
    """(n,) knots and (n, 4) cubics of ln ζ in the opening y, each from its knot."""
    return _given(damper.losses) if damper.losses else _blades(damper)


def _blades(damper: OutletDamper) -> tuple[np.ndarray, np.ndarray]:
    """Between two openings a line; outside them a quadratic, continuous in value and slope, that
    ends at the loss shut (y = 0) and open (y = 1)."""
    assert damper.blades is not None, "a damper without blades has losses"
    right, b = RIGHT[damper.blades], SLOPE[damper.blades]
    at_left, at_right = (LEVEL + b * (1.0 - y) for y in (LEFT, right))
    shut = (log(damper.shut_loss) - at_left - b * LEFT) / LEFT**2
    rest = 1.0 - right
    opened = (log(damper.open_loss) - at_right + b * rest) / rest**2
    return np.array([0.0, LEFT, right]), np.array([
        [log(damper.shut_loss), -b - 2.0 * shut * LEFT, shut, 0.0],
        [at_left, -b, 0.0, 0.0],
        [at_right, -b, opened, 0.0]])


def _given(losses: DamperLosses) -> tuple[np.ndarray, np.ndarray]:
    """A shape-keeping curve of ln ζ through the user's points; ends held."""
    curve = PchipInterpolator(losses.opening, np.log(losses.loss))
    cubics = np.flipud(curve.c).T
    last = [log(losses.loss[-1]), 0.0, 0.0, 0.0]
    first = [log(losses.loss[0]), 0.0, 0.0, 0.0]
    knots = np.concatenate([[-1.0], curve.x])
    return knots, np.vstack([first, cubics, last])


def problems(damper: OutletDamper, path: tuple[str, ...]) -> Iterator[Problem]:
    """A loss that would not fall all the way as the damper opens."""
    if damper.losses:
        return
    knots, (shut, _, opened) = _blades(damper)
    at_open = opened[1] + 2.0 * opened[2] * (1.0 - knots[2])
    for key, slope, given, word in (("shut_loss", shut[1], damper.shut_loss, "higher"),
                                    ("open_loss", at_open, damper.open_loss, "lower")):
        if slope > 0.0:
            yield Problem((*path, key), f"{given:g}", f"a {word} loss for {damper.blades} blades",
                          "the published curve between 15 and "
                          f"{90.0 * knots[2]:.0f} degrees open joins on to no falling loss there")


def table(damper: OutletDamper | None, actuator: int, place: int) -> Dampers:
    """The kernel's table of one outlet damper, or of none."""
    if damper is None:
        return Dampers(blank(LOUVRE, 0), np.zeros((0, 3)), np.zeros((0, 3, 4)))
    knots, loss = log_loss(damper)
    each = rows(LOUVRE, actuator=actuator, element=place, area=damper.area)
    return Dampers(each, knots[None], loss[None])
