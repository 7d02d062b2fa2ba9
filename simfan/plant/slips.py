"""Points of a maker's curve that look like a slip in typing. They are told, not refused.

A point is far off where it leaves the straight line between its neighbours by

    |y − y_line| > FAR·max(|y|, |y_line|, SMALL·median |y|)
"""

from collections.abc import Iterator, Sequence
from statistics import median

from simfan.plant.fan import Fan
from simfan.plant.points import value_at
from simfan.plant.strategy import Strategy
from simfan.units import show

Values = Sequence[float]
FAR = 0.5
"""Our own. By its bend a smooth curve leaves that line by 8 % at most in the scenarios here, by
19 % where they are thinned out to five points, and one of five points that falls to zero from a
peak at 60 % of its flow by 42 %; a decimal point that slipped takes it off by 80 % or more. A first
or last point has one neighbour: it is found where it takes that one's line along."""
SMALL = 0.25
"""A value below this share of the curve's median counts as one of that size, as a pressure may pass
through zero. Our own."""
FEWEST, MOST = 4, 3
"""Points that must be left to judge by; points told of one curve."""


def of_fan(fan: Fan) -> tuple[str, ...]:
    """In words, one for each point of the fan's curve that looks like a slip."""
    name = "static_pressure" if fan.static_pressure is not None else "total_pressure"
    return (*_words(fan.flow, fan.pressure, "pressure", f"fan.{name}"),
            *_words(fan.flow, fan.shaft_power, "power", "fan.shaft_power"))


def of_vanes(name: str, strategy: Strategy) -> tuple[str, ...]:
    """The same of the measured curves of a strategy's vanes or box damper."""
    return tuple(words for key in ("inlet_vanes", "inlet_box_damper")
                 if (element := getattr(strategy, key)) is not None
                 for row in element.family or ()
                 for what, kind in (("static_pressure", "pressure"), ("shaft_power", "power"))
                 for words in _words(row.flow, getattr(row, what), kind,
                                     f"{name}: {key} at {show(row.opening, 'fraction')}, {what}"))


def far_off(flow: Values, values: Values) -> list[int]:
    """Places of the points far off, rising: of a point and its two neighbours the one without which
    the others lie best."""
    left, found = list(range(len(values))), list[int]()
    while len(left) > FEWEST and len(found) < MOST:
        off, at = _worst(flow, values, left)
        if off <= FAR:
            break
        found.append(min(left[at - 1:at + 2], key=lambda k: _worst(
            flow, values, [j for j in left if j != k])))
        left.remove(found[-1])
    return sorted(found)


def _worst(flow: Values, values: Values, left: Sequence[int]) -> tuple[float, int]:
    """How far off the worst of these points is, and its place among them."""
    x, y = [flow[k] for k in left], [values[k] for k in left]
    least = SMALL * median(map(abs, y)) or 1.0
    return max((_off(x[k - 1:k + 2], y[k - 1:k + 2], least), k) for k in range(1, len(left) - 1))


def _off(x: Values, y: Values, least: float) -> float:
    """Of the middle one of three points."""
    line = y[0] + (y[2] - y[0]) * (x[1] - x[0]) / (x[2] - x[0])
    return abs(y[1] - line) / max(abs(y[1]), abs(line), least)


def _words(flow: Values, values: Values, kind: str, name: str) -> Iterator[str]:
    places = far_off(flow, values)
    left = [k for k in range(len(values)) if k not in places]
    for k in places:
        line = value_at(flow[k], [flow[j] for j in left], [values[j] for j in left])
        beside = "the others" if line is None else f"the {show(line, kind, digits=4)} between them"
        yield (f"{name}: warning: {show(values[k], kind, digits=4)} at "
               f"{show(flow[k], 'volume flow', digits=4)} (point {k + 1}) is far from its "
               f"neighbours, more than half off {beside} (a bound of our own): a slip in "
               "typing? It is used as it stands")
