"""Zeros of a function of one number between two ends, one place at a time.

Chandrupatla's search: inverse quadratic interpolation where it is safe, bisection elsewhere (Adv.
Eng. Software 28 (1997) 145). The caller looks at the function, so it is no argument:

    bracket = between(low, at_low, high, at_high, close)
    while not bracket.done:
        x = next_place(bracket)
        bracket = closer(bracket, x, f(x))
    return nearest(bracket)
"""

from typing import NamedTuple

from simfan.kernel.layout import counted_nowhere

CLOSE = 1e-13
"""Width, of the bracket at first, at which a search ends."""
MOST = 80
"""Places looked at."""


class Bracket(NamedTuple):
    """Two ends on either side of a zero, the newest first."""

    a: float
    at_a: float
    b: float
    at_b: float
    share: float  # of the way from a to b where the next place lies
    narrow: float  # width at which the search ends
    left: int  # places that may still be looked at
    done: bool


@counted_nowhere
def between(low, at_low, high, at_high, close):
    """The bracket at first."""
    done = at_low == 0.0 or at_high == 0.0
    return Bracket(low, at_low, high, at_high, 0.5, close * (high - low), MOST, done)


@counted_nowhere
def next_place(bracket):
    """Where to look."""
    return bracket.a + bracket.share * (bracket.b - bracket.a)


@counted_nowhere
def closer(bracket, x, value):
    """The bracket after a look at x."""
    a, at_a, b, at_b = bracket.a, bracket.at_a, bracket.b, bracket.at_b
    if (value > 0.0) == (at_a > 0.0):
        c, at_c = a, at_a
    else:
        c, at_c, b, at_b = b, at_b, a, at_a
    width = abs(b - x)
    left = bracket.left - 1
    if value == 0.0 or width <= bracket.narrow or left == 0:
        return Bracket(x, value, b, at_b, 0.5, bracket.narrow, left, True)
    least = 0.5 * bracket.narrow / width
    share = min(max(curved(x, value, b, at_b, c, at_c), least), 1.0 - least)
    return Bracket(x, value, b, at_b, share, bracket.narrow, left, False)


@counted_nowhere
def curved(a, at_a, b, at_b, c, at_c):
    """Share of the way from a to b by a parabola through three places, or half."""
    xi = (a - b) / (c - b)
    phi = (at_a - at_b) / (at_c - at_b)
    if phi * phi < xi and (1.0 - phi) * (1.0 - phi) < 1.0 - xi:
        return ((at_a / (at_b - at_a)) * (at_c / (at_b - at_c))
                + ((c - a) / (b - a)) * (at_a / (at_c - at_a)) * (at_b / (at_c - at_b)))
    return 0.5


@counted_nowhere
def nearest(bracket):
    """The end at which the function is nearer to zero."""
    return bracket.a if abs(bracket.at_a) <= abs(bracket.at_b) else bracket.b
