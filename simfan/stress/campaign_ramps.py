"""Ramps in the coordinates of a space: which move and which plant a point of the cube is."""

from dataclasses import dataclass

import numpy as np

from simfan.stress.space import MOVES, Space, sobol_points
from simfan.stress.tally import Array, Evaluate


@dataclass(frozen=True)
class MoveRange:
    """The setpoints that a map goes over, and its ramps."""

    low: float
    """[held unit]."""
    high: float
    """[held unit]."""
    shortest: float
    """[s]."""
    longest: float
    """[s]."""

    @property
    def over(self) -> tuple[float, float]:
        """Shortest and longest ramp [s]."""
        return self.shortest, self.longest

    def setpoints(self, count: int) -> Array:
        """(count,) from end to end [held unit]."""
        return np.linspace(self.low, self.high, count)


def move_range(space: Space, scan: float) -> MoveRange | str:
    """What `from`, `to` and `over` have in common, or the sentence why there is no map."""
    by_name = {i.name: i for i in space.inputs}
    if not set(MOVES) <= set(by_name):
        return "they need [stress.moves] with from, to and over that vary"
    start, end, over = (by_name[name] for name in MOVES)
    low = max(start.numbers[0], end.numbers[0])
    high = min(start.numbers[1], end.numbers[1])
    if not low < high:
        return "from and to of [stress.moves] have no range in common"
    shortest, longest = max(over.numbers[0], scan), over.numbers[1]
    if not shortest < longest:
        return "over of [stress.moves] is no longer than a scan of the controller"
    return MoveRange(low, high, shortest, longest)


def on_plants(space: Space, evaluate: Evaluate) -> Evaluate:
    """Moves on plants, (n, 3 + r): from, to, duration [s], the shares of what else varies. With
    r = 0 the plant is as the scenario has it."""
    names = [i.name for i in space.inputs]
    places = [names.index(name) for name in MOVES]
    plant = len(space.varied)

    def distances(asked: Array) -> Array:
        points = np.tile(space.nominal, (len(asked), 1))
        for place, column in zip(places, asked.T[:3], strict=True):
            points[:, place] = [space.inputs[place].share(float(v)) for v in column]
        if asked.shape[1] > 3:
            points[:, :plant] = asked[:, 3:]
        return evaluate(points)

    return distances


def chosen_plants(space: Space, worst: list[Array], count: int, seed: int) -> Array:
    """(count, r) plants: those of the worst runs found, then an even sample of the space."""
    rows: list[Array] = []
    for point in worst:
        row = point[: len(space.varied)]
        if len(rows) < count // 2 and not any(np.array_equal(row, other) for other in rows):
            rows.append(row)
    even = sobol_points(seed, count - len(rows), len(space.varied))
    return np.vstack([*rows, even])
