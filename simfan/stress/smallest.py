"""The smallest change that breaks each requirement: from a nominal point along straight lines.

A line is first looked at in even steps, then halved between the last point that holds and the first
that is broken. A window of failures narrower than a step can be missed; what is told is what was
seen. Within a budget of runs the steps become fewer before lines are left out, and the halving
serves the smallest changes first and may end early: how far apart the two points still are, stands
in the change.
"""

from collections.abc import Sequence

import numpy as np

from simfan.stress.tally import Array, Evaluate
from simfan.stress_answer import SmallestChange, Trail

STEPS = 8
"""Even steps along a line."""
TOLERANCE = 0.005
"""How close the last point that holds and the first broken one come [share of a range]."""
NEAREST = 3
"""Lines to so many of the nearest broken points for each requirement."""
LOOKED = 0.6
"""Share of a budget for the steps; the rest is for the halving."""


def halve(evaluate: Evaluate, holds: Array, breaks: Array, columns: Array, tolerance: float,
          most: int | None = None) -> tuple[Array, Array, int]:
    """(holds, breaks, runs): pairs of points brought together until no input differs by more.

    All pairs are halved side by side, (q, d) points to a batch; columns (q, p) are the requirements
    each pair looks at, and one broken of them is enough. Of `most` runs the first pairs have first.
    """
    holds, breaks, runs = holds.copy(), breaks.copy(), 0
    while (wide := np.flatnonzero(np.max(np.abs(breaks - holds), axis=1) > tolerance)).size:
        wide = wide if most is None else wide[: most - runs]
        if not wide.size:
            break
        middle = 0.5 * (holds[wide] + breaks[wide])
        distances = np.take_along_axis(evaluate(middle), columns[wide], axis=1)
        broken = np.min(distances, axis=1) < 0.0
        breaks[wide[broken]] = middle[broken]
        holds[wide[~broken]] = middle[~broken]
        runs += wide.size
    return holds, breaks, runs


def smallest_changes(evaluate: Evaluate, nominal: Array, trail: Trail | None = None,
                     tolerance: float = TOLERANCE, most: int | None = None
                     ) -> list[SmallestChange]:
    """For each requirement its smallest changes: of each single input, and of several at once
    towards the nearest broken points of a trail. The smallest first.

    A requirement that is broken at the nominal point has no change. `most` bounds the runs. Raises
    ValueError for a tolerance that is not above 0.
    """
    if not tolerance > 0.0:
        raise ValueError(f"tolerance: got {tolerance}, allowed: above 0")
    first = evaluate(nominal[None, :])[0]
    ends, inputs = _lines(nominal, trail, np.flatnonzero(first >= 0.0))
    return first_breaks(evaluate, nominal, ends, inputs, first, tolerance, most)


def first_breaks(evaluate: Evaluate, nominal: Array, ends: Array, inputs: Sequence[int | None],
                 at_nominal: Array, tolerance: float = TOLERANCE, most: int | None = None
                 ) -> list[SmallestChange]:
    """Where each of the lines from the nominal point to `ends` (q, d) first breaks each
    requirement that holds there; the smallest change first."""
    lines_run, steps = _affordable(len(ends), most)
    ends = ends[:lines_run]
    if not len(ends):
        return []
    along = np.linspace(0.0, 1.0, steps + 1)[1:]
    places = nominal + along[None, :, None] * (ends - nominal)[:, None, :]
    seen = evaluate(places.reshape(-1, nominal.size)).reshape(len(ends), steps, -1)
    broken = (seen < 0.0) & (at_nominal >= 0.0)
    lines, columns = np.nonzero(broken.any(axis=1))
    if not lines.size:
        return []
    step = broken.argmax(axis=1)[lines, columns]
    order = np.argsort(np.linalg.norm(places[lines, step] - nominal, axis=1), kind="stable")
    lines, columns, step = lines[order], columns[order], step[order]
    before = np.where(step[:, None] > 0, places[lines, np.maximum(step - 1, 0)], nominal)
    left = None if most is None else most - len(ends) * steps
    holds, breaks, _ = halve(evaluate, before, places[lines, step], columns[:, None], tolerance,
                             left)
    distances = evaluate(breaks)[np.arange(lines.size), columns]
    sizes = np.linalg.norm(breaks - nominal, axis=1)
    return [SmallestChange(int(columns[k]), inputs[lines[k]], holds[k], breaks[k],
                           float(distances[k]), float(sizes[k]))
            for k in np.lexsort((sizes, columns))]


def _affordable(lines: int, most: int | None) -> tuple[int, int]:
    """How many lines are looked at, in how many steps."""
    if most is None or not lines:
        return lines, STEPS
    steps = int(np.clip(LOOKED * most // lines, 1, STEPS))
    return min(lines, most // steps), steps


def _lines(nominal: Array, trail: Trail | None, columns: Array
           ) -> tuple[Array, list[int | None]]:
    """Ends of the lines, and the only input that each moves; the nearest broken points first, then
    the inputs one by one."""
    near = [] if trail is None else [_nearest_broken(trail, nominal, c) for c in columns]
    several = [points[k] for k in range(NEAREST) for points in near if k < len(points)]
    single = [(np.where(np.arange(nominal.size) == i, side, nominal), i)
              for i, at in enumerate(nominal) for side in (0.0, 1.0) if at != side]
    ends: list[Array] = []
    inputs: list[int | None] = []
    for end, moved in (*((p, None) for p in several[: len(near)]), *single,
                       *((p, None) for p in several[len(near):])):
        if not any(np.array_equal(end, other) for other in ends):
            ends.append(end)
            inputs.append(moved)
    return np.array(ends).reshape(-1, nominal.size), inputs


def _nearest_broken(trail: Trail, nominal: Array, column: int) -> Array:
    broken = trail.points[trail.distances[:, column] < 0.0]
    return broken[np.argsort(np.linalg.norm(broken - nominal, axis=1), kind="stable")[:NEAREST]]
