"""The sequence table: where each element stands for a controller output.

    "vanes first": as the output falls from 100 %, the vanes close, then the speed falls

    100 % ┤            ____╱  vanes         split s, overlap o: the lower leg ends at s + o/2, the
          │      ____╱    ╱                 upper leg begins at s − o/2; o < 0 leaves a gap
          │ speed  ╱     ╱
          └────────┼──────── output
                   s
"""

from bisect import bisect_right

from simfan.plant.characteriser import Characteriser
from simfan.plant.strategy import Sequence, Strategy

Points = tuple[tuple[float, float], ...]


def sequence(strategy: Strategy) -> dict[str, Points]:
    """Element → (controller output, demand) breakpoints, the characteriser's among them."""
    tables = _own(strategy)
    if strategy.characteriser is None:
        return tables
    return {name: behind(strategy.characteriser, points) for name, points in tables.items()}


def behind(table: Characteriser, points: Points) -> Points:
    """Breakpoints of a line behind a characteriser: demand(element(output))."""
    forward = tuple(zip(table.output, table.element, strict=True))
    backward = tuple(zip(table.element, table.output, strict=True))
    inner = {_line(backward, x) for x, _ in points if table.element[0] < x < table.element[-1]}
    return tuple((u, _line(points, _line(forward, u))) for u in sorted({*table.output, *inner}))


def _line(points: Points, x: float) -> float:
    """Straight lines between points, the ends held."""
    k = bisect_right([at for at, _ in points], x)
    if k in (0, len(points)):
        return points[max(k - 1, 0)][1]
    (x0, y0), (x1, y1) = points[k - 1:k + 1]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def _own(strategy: Strategy) -> dict[str, Points]:
    """The same without a characteriser."""
    ends = {"outlet damper": (0.0, 1.0), "inlet box damper": (0.0, 1.0),
            "inlet vanes": (0.0, 1.0)}
    if strategy.speed:
        ends["speed"] = strategy.speed.minimum, strategy.speed.maximum
    table = strategy.sequence
    if table is None:
        return {name: ((0.0, low), (1.0, high)) for name, (low, high) in ends.items()}
    if table.output:
        return {"inlet vanes": tuple(zip(table.output, table.inlet_vanes or (), strict=True)),
                "speed": tuple(zip(table.output, table.speed or (), strict=True))}
    vanes, speed = _legs(table)
    return {"inlet vanes": _leg(vanes, table.least_opening, 1.0),
            "speed": _leg(speed, *ends["speed"])}


def _legs(table: Sequence) -> tuple[tuple[float, float], tuple[float, float]]:
    """Outputs between which the vanes and the speed move."""
    lower = 0.0, table.split + 0.5 * table.overlap
    upper = table.split - 0.5 * table.overlap, 1.0
    if table.order == "vanes first":
        return upper, lower
    if table.order == "speed first":
        return lower, upper
    return (0.0, 1.0), (0.0, 1.0)


def _leg(outputs: tuple[float, float], low: float, high: float) -> Points:
    """A straight leg between two outputs, held at its ends outside them."""
    a, b = outputs
    points = [(a, low), (b, high)]
    if a > 0.0:
        points.insert(0, (0.0, low))
    if b < 1.0:
        points.append((1.0, high))
    return tuple(points)
