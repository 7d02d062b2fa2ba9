"""Whether lists of points make a line or a curve."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise

from simfan.errors import PathPart, Problem
from simfan.units import show

Values = Sequence[float]


def not_rising(values: Values, path: tuple[PathPart, ...], kind: str) -> Iterator[Problem]:
    """A problem for every value that is not above the one before it."""
    for place, (before, value) in enumerate(pairwise(values), start=1):
        if value <= before:
            yield Problem((*path, place), f"{show(value, kind)} after {show(before, kind)}",
                          "each value above the one before it")


def not_falling(values: Values, path: tuple[PathPart, ...]) -> Iterator[Problem]:
    """A problem for every plain number that is not below the one before it."""
    for place, (before, value) in enumerate(pairwise(values), start=1):
        if value >= before:
            yield Problem((*path, place), f"{value:g} after {before:g}",
                          "each value below the one before it")


def not_whole_range(values: Values, path: tuple[PathPart, ...]) -> Iterator[Problem]:
    """A problem unless the fractions rise from 0 to 100 %."""
    if len(values) < 2:
        yield Problem(path, f"{len(values)} values", "two at least, 0 % and 100 %")
        return
    found = [*not_rising(values, path, "fraction")]
    yield from found
    for place, end in ((0, 0.0), (len(values) - 1, 1.0)):
        if not found and abs(values[place] - end) > 1e-9:
            yield Problem((*path, place), show(values[place], "fraction"),
                          f"{show(end, 'fraction')}, the {'first' if place == 0 else 'last'} value")


def beyond_whole(values: Values, path: tuple[PathPart, ...]) -> Iterator[Problem]:
    """A problem for every fraction above 100 %."""
    for place, value in enumerate(values):
        if value > 1.0 + 1e-9:
            yield Problem((*path, place), show(value, "fraction"), "at most 100 %")


def not_as_many(
    values: Values, path: tuple[PathPart, ...], n: int, other: str
) -> Iterator[Problem]:
    """A problem unless there is one value for each of the other list."""
    if len(values) != n:
        yield Problem(path, f"{len(values)} values", f"{n}, one for each value of {other}")


def below_air_power(flow: Values, pressure: Values, power: Values) -> Iterator[Problem]:
    """Shaft power below air power Q·Δp would be an efficiency above 100 %."""
    for place, (q, p, shaft) in enumerate(zip(flow, pressure, power, strict=False)):
        if shaft < q * p:
            air = show(q * p, "power", digits=4)
            yield Problem(("shaft_power", "values", place),
                          f"{show(shaft, 'power', digits=4)} at point {place + 1}",
                          f"at least the air power of that point, {air} "
                          f"({show(q, 'volume flow')} times {show(p, 'pressure')})",
                          "check the units of flow, pressure and power")


def value_at(x: float, xs: Values, ys: Values) -> float | None:
    """y at x on straight lines between points with rising xs; None beyond them."""
    if not xs[0] <= x <= xs[-1]:
        return None
    right = min(bisect_right(xs, x), len(xs) - 1)
    x0, x1, y0, y1 = xs[right - 1], xs[right], ys[right - 1], ys[right]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
