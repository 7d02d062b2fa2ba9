"""A louvre damper's loss against its opening."""

import math

from simfan.kernel.layout import inlined


@inlined
def quadratic(dampers, i, y):
    """ζ(y)/(2A²) [1/m⁴]; ln ζ is a quadratic, a line, a quadratic in the opening y (0 to 1)."""
    part = 0 if y < dampers.knots[i, 0] else (1 if y <= dampers.knots[i, 1] else 2)
    c = dampers.log_loss[i, part]
    return math.exp(c[0] + y * (c[1] + y * c[2])) / (2.0 * dampers.area[i] * dampers.area[i])
