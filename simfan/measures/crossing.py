"""Straight lines between two samples, shared by all folds."""

import numba

compiled = numba.njit(cache=True, error_model="numpy", nogil=True)


@compiled
def share_above(before, now):
    """Share of the time between two samples in which their straight line is above zero [1].

    nan at either end counts as not above.
    """
    if before > 0.0 and now > 0.0:
        return 1.0
    if before > 0.0 and now <= 0.0:
        return before / (before - now)
    if before <= 0.0 and now > 0.0:
        return now / (now - before)
    return 0.0


@compiled
def crossing_time(t, dt, before, now, level):
    """When the straight line from `before` to `now` (at `t`) passes `level` [s].

    `t` itself where the two do not lie on either side of it, or the sample before is unknown.
    """
    if (before <= level and now > level) or (before >= level and now < level):
        return t - dt * (now - level) / (now - before)
    if (before < level and now >= level) or (before > level and now <= level):
        return t - dt * (now - level) / (now - before)
    return t


@compiled
def mean_over(dt, before, now):
    """Trapezoid: dt·(before + now)/2."""
    return dt * (0.5 * (before + now))
