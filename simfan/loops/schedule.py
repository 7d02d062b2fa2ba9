"""One range, one loop, more than one gain: a schedule of tunings, or a characteriser before the
element.

A schedule follows a slow variable and is judged with its gains frozen at every point: what it does
while the variable moves fast is not seen here. A characteriser turns the installed characteristic
round, so that held value over output is straight and one tuning serves:

    held │    ___----      element │        /      held │      /
         │  /                      │       /            │    /
         │ /            ×          │   _--/        =    │  /
         └────────                 └────────            └────────
          element                    output               output
"""

from collections.abc import Sequence
from math import inf
from typing import Literal

import numpy as np

from simfan.errors import RunError
from simfan.loop_answer import Characterised, Schedule, Served
from simfan.loops.beside import kind
from simfan.loops.margins import Controller, Margins
from simfan.loops.over_range import TARGET, Loop, installed
from simfan.plant.case import Case
from simfan.plant.characteriser import Characteriser
from simfan.steady.bench import Array

BREAKPOINTS = 5
TABLE = 21
"""Points of a characteriser. An assumption: control systems take some ten to twenty."""
APART = 0.0005
"""Least distance of two points of a characteriser, of the output."""
DRAWN_OUT = 0.02
"""How far its ends go on straight beyond the range, of the output."""
DIGITS = 5
"""Of shares in the table: thousandths of a percent."""
LOWERED = 40
"""Times that all gains of a schedule may be lowered by a fiftieth until Ms is kept between its
breakpoints too."""


def gain_schedule(loop: Loop, n: int = BREAKPOINTS, on: Literal["held", "output"] = "held",
                  target: float = TARGET) -> Schedule:
    """Gains at up to n breakpoints of the held value or the output, so that Ms stays within the
    target at every stable point with what lies on the straight lines between.

    Each breakpoint is tuned for all points between its neighbours. Raises RunError as `Loop.robust`
    does, or where the variable does not rise or fall steadily along the range.
    """
    variable = loop.held if on == "held" else loop.output
    _steady(loop, variable, on)
    where = _breakpoints(loop, n)
    at = variable[where]
    tuned = [loop.robust(target, _between(where, k, variable.size)) for k in range(where.size)]
    for times in range(LOWERED):
        lower = [loop.pid(_digits(abs(c.gain) * 0.98**times), c.reset) for c in tuned]
        gains = _interpolated(loop, variable, at, lower)
        found = loop.margins(gains)
        after = served(loop, gains, found)
        if after.sensitivity is not None and after.sensitivity <= target:
            break
    else:
        raise RunError(f"{loop.name}: no schedule keeps Ms below {target:g} between its "
                       "breakpoints")
    one, order = loop.robust(target), np.argsort(at)
    return Schedule(
        on=on, at=tuple(at[order].tolist()), gain=tuple(abs(lower[k].gain) for k in order),
        reset=tuple(lower[k].reset for k in order), before=served(loop, one, loop.margins(one)),
        after=after, sensitivity=tuple(m.sensitivity if m.stable else None for m in found))


def characteriser(loop: Loop, n: int = TABLE, target: float = TARGET) -> Characterised:
    """The table of n points that makes the process gain of the range the same, and its one robust
    tuning.

    Raises RunError as `Loop.robust` does, or where the installed characteristic does not rise or
    fall steadily.
    """
    low, high = float(loop.held.min()), float(loop.held.max())
    table = _turned_round(loop, *installed(loop, low, high), n)
    case = characterised(loop.case, loop.name, table)
    other = Loop(case, loop.name, low, high, loop.held.size)
    before, after = loop.robust(target), other.robust(target)
    return Characterised(
        output=tuple(table.output), element=tuple(table.element), gain=abs(after.gain),
        reset=after.reset, before=served(loop, before, loop.margins(before)),
        after=served(other, after, other.margins(after)))


def characterised(case: Case, name: str, table: Characteriser) -> Case:
    """The case with this table between the controller of a strategy and what it moves.

    Raises RunError where the strategy has a characteriser already, or a loop for each element.
    """
    strategy, structure = case.strategies[name], kind(case, name)
    if structure is not None:
        raise RunError(f"{name}: a characteriser is the table of one output for all elements; it "
                       f"has no place beside {structure}")
    if strategy.characteriser is not None:
        raise RunError(f"{name} has a characteriser already; take it out to have one made")
    changed = strategy.model_copy(update={"characteriser": table})
    return case.model_copy(update={"strategies": {**case.strategies, name: changed}})


def served(loop: Loop, tuning: Controller | Sequence[Controller], found: Sequence[Margins]
           ) -> Served:
    """How a tuning, or one for each point, serves the stable points."""
    each = [tuning] * len(loop.processes) if isinstance(tuning, Controller) else tuning
    some = [(abs(p.gain * c.gain), c.reset, m) for p, c, m in
            zip(loop.processes, each, found, strict=True) if not p.unstable and p.gain]
    gains = [gain for gain, _, _ in some]
    whole = bool(some) and all(m.stable for _, _, m in some)
    return Served(
        gain_ratio=max(gains, default=inf) / min(gains, default=inf),
        sensitivity=max(m.sensitivity for _, _, m in some) if whole else None,
        load_error=max((reset / gain for gain, reset, _ in some), default=inf))


def _breakpoints(loop: Loop, n: int) -> Array:
    """(≤ n,) stable points between which the logarithm of the gain moves by like amounts."""
    gain = np.abs([p.gain for p in loop.processes])
    good = np.flatnonzero((loop.unstable == 0) & (gain > 0.0))
    if not good.size:
        raise RunError(f"{loop.name}: no point of the range is stable by itself, so no schedule "
                       "was sought")
    moved = np.append(0.0, np.cumsum(np.abs(np.diff(np.log(gain[good]))) + 1e-6))
    wanted = np.linspace(0.0, moved[-1], max(n, 2))
    return good[np.unique(np.abs(moved - wanted[:, None]).argmin(axis=1))]


def _between(where: Array, k: int, size: int) -> Array:
    """(size,) the points from the breakpoint before to the one after."""
    points = np.arange(size)
    return (points >= where[max(k - 1, 0)]) & (points <= where[min(k + 1, where.size - 1)])


def _interpolated(loop: Loop, variable: Array, at: Array, tuned: Sequence[Controller]
                  ) -> list[Controller]:
    """The tuning at each point, on straight lines between the breakpoints."""
    order = np.argsort(at)
    gain, reset = (np.interp(variable, at[order], np.array(values)[order]) for values in
                   ([abs(c.gain) for c in tuned], [c.reset for c in tuned]))
    return [loop.pid(float(k), float(ti)) for k, ti in zip(gain, reset, strict=True)]


def _steady(loop: Loop, variable: Array, on: str) -> None:
    moved = np.diff(variable)
    if not (np.all(moved > 0.0) or np.all(moved < 0.0)):
        raise RunError(f"{loop.name}: the {'held value' if on == 'held' else 'output'} does not "
                       "go one way along the range, so no gain can follow it")


def _digits(gain: float) -> float:
    return float(f"{gain:.3g}")


def _turned_round(loop: Loop, straight: Array, element: Array, n: int) -> Characteriser:
    """At most n points of output and element, more of them where the characteristic bends."""
    slope = np.diff(element) / np.diff(straight)
    if not np.all(slope > 0.0):
        raise RunError(f"{loop.name}: the held value does not go one way as the output rises, so "
                       "no characteriser was made")
    bend = np.append(np.abs(np.diff(np.log(slope))), 0.0)
    moved = np.append(0.0, np.cumsum(bend + 1e-3 / slope.size))
    wanted = np.interp(np.linspace(0.0, moved[-1], max(n - 4, 2)), moved, straight)
    output = _apart(wanted)
    points = [(0.0, 0.0), *_ends_drawn_out(output, np.interp(output, straight, element)),
              (1.0, 1.0)]
    return Characteriser(output=tuple(u for u, _ in points), element=tuple(y for _, y in points))


def _apart(output: Array) -> Array:
    """The same rounded, the ends kept, without what lies too close to the one before."""
    kept = [output[0]]
    for u in output[1:-1]:
        if min(u - kept[-1], output[-1] - u) >= APART:
            kept.append(u)
    return np.round([*kept, output[-1]], DIGITS)


def _ends_drawn_out(output: Array, element: Array) -> list[tuple[float, float]]:
    """The points with one more beyond either end on the same slope, where there is room: a corner
    at the very end of the range would be felt within it."""
    points = list(zip(output.tolist(), element.tolist(), strict=True))
    for place, (a, b) in ((0, (1, 0)), (len(points) + 1, (-2, -1))):
        (u0, y0), (u1, y1) = points[a], points[b]
        u = u1 + np.copysign(DRAWN_OUT, u1 - u0)
        y = y1 + (u - u1) * (y1 - y0) / (u1 - u0)
        if 0.0 < u < 1.0 and 0.0 < y < 1.0:
            points.insert(place, (u, y))
    return [(round(float(u), DIGITS), round(float(y), DIGITS)) for u, y in points]
