"""A louvre damper's loss against its opening."""

import math

from simfan.kernel.layout import inlined


@inlined
def quadratic(dampers, i, y):
    """ζ(y)/(2A²) [1/m⁴]; ln ζ is a cubic in the opening y (0 to 1) from the knot of its piece."""
    k = 0
    while k + 1 < dampers.knots.shape[1] and y >= dampers.knots[i, k + 1]:
        k += 1
    t = y - dampers.knots[i, k]
    c = dampers.log_loss[i, k]
    return (math.exp(c[0] + t * (c[1] + t * (c[2] + t * c[3])))
            / (2.0 * dampers.each[i].area * dampers.each[i].area))
