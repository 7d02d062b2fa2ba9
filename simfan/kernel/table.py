"""Piecewise linear tables."""

from simfan.kernel.layout import inlined


@inlined
def line(xs, ys, x):
    """Straight lines between points, ends held; where xs repeat, the last y rules."""
    if x <= xs[0]:
        return ys[0]
    for k in range(xs.size - 1):
        if x < xs[k + 1]:
            return ys[k] + (x - xs[k]) / (xs[k + 1] - xs[k]) * (ys[k + 1] - ys[k])
    return ys[xs.size - 1]
