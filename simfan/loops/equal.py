"""`tuning = "equal robustness"`: gains for the strategies that give none, all by one measure.

Each gets the PI with the best load rejection whose Ms over one range stays within the target; the
range is what all strategies of the scenario reach, so that a run alone is tuned as in a comparison.
Gains are rounded to three digits before they are judged and used. Margins are of small moves and
know no rate limit; so that a larger move does not wind the controller up, its output is held to the
rate that the elements follow, unless the scenario gives `full_travel`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from simfan.assemble.transmitter import span
from simfan.errors import RunError, ScenarioError
from simfan.history import History, Robustness
from simfan.loops.common_range import drawn_in, reach
from simfan.loops.margins import Controller, Margins
from simfan.loops.over_range import Loop
from simfan.loops.tune import full_travel, largest_step
from simfan.plant.case import Case
from simfan.plant.controller import Controller as Given
from simfan.simulate import Progress, not_run, simulate
from simfan.units import show

LOWERED = 20
"""Times that a rounded gain may be lowered by a hundredth."""
NOT_FOUND = (RunError, ScenarioError, np.linalg.LinAlgError, ArithmeticError, ValueError)
"""What may keep a loop from being judged; a run goes on without."""


Ends = tuple[float, float]


@dataclass(frozen=True)
class Equal:
    """A case whose every strategy has gains, but for those in `untuned`."""

    case: Case
    robustness: Mapping[str, Robustness]
    """Of each strategy asked for, whether given or sought."""
    untuned: Mapping[str, str]
    """Strategy → the sentence why no gains were found."""


def equal(case: Case, names: list[str]) -> Equal:
    """The case with gains for those of these strategies that give none, and what Ms each keeps.

    Ms is that of the common range of all strategies of the case, in 25 points.
    """
    if case.by_hand:
        return Equal(case, {}, {})
    without: dict[str, str] = {}
    ends = _common(case, without)
    found = {name: _one(case, name, ends, without) for name in names}
    untuned = {name: r.why or "" for name, r in found.items()
               if name in case.untuned and r.gains is None}
    return Equal(_with_gains(case, found), found, untuned)


def run(tuned: Equal, name: str, progress: Progress | None = None, assumption: str = "nominal"
        ) -> History:
    """The strategy's run with its robustness noted; where it has no gains, its start alone."""
    history = (not_run(tuned.case, name) if name in tuned.untuned
               else simulate(tuned.case, name, progress, assumption=assumption))
    noted = replace(history.facts, robustness=tuned.robustness.get(name))
    return replace(history, facts=noted)


def _with_gains(case: Case, found: Mapping[str, Robustness]) -> Case:
    """The case as it would be with what was found typed into it."""
    strategies = dict(case.strategies)
    for name, robustness in found.items():
        if robustness.sought and robustness.gains:
            strategy = strategies[name]
            tuned = (case.control.given(strategy.controller) or Given()).with_gains(
                *robustness.gains, robustness.full_travel)
            strategies[name] = strategy.model_copy(update={"controller": tuned})
    return case.model_copy(update={"strategies": strategies})


def _common(case: Case, without: dict[str, str]) -> Ends | None:
    """The held values that all strategies reach within their limits, drawn in a little.

    A strategy that reaches none, or none with most of the others, is noted in `without` and left
    out. None where no strategy is left.
    """
    reached: dict[str, Ends] = {}
    for name in case.strategies:
        try:
            reached[name] = reach(case, name)
        except NOT_FOUND as why:
            without[name] = str(why)
    if not reached:
        return None
    inside = _together(reached, float(case.run.first_setpoint))
    low, high = max(reached[n][0] for n in inside), min(reached[n][1] for n in inside)
    for name in reached.keys() - inside:
        ends = (show(value, case.control.held_kind, digits=3) for value in reached[name])
        without[name] = (f"its range, {' to '.join(ends)}, has nothing in common with that of "
                         f"{', '.join(n for n in case.strategies if n in inside)}")
    return drawn_in(low, high)


def _together(reached: Mapping[str, Ends], start: float) -> set[str]:
    """The most strategies whose ranges overlap; of as many, those about the starting setpoint."""
    groups = [{n for n, (low, high) in reached.items() if low <= begin < high}
              for begin, _ in reached.values()]
    return max(groups, key=lambda group: (len(group), any(
        reached[n][0] <= start <= reached[n][1] for n in group)))


def _one(case: Case, name: str, ends: Ends | None, without: Mapping[str, str]
         ) -> Robustness:
    """A strategy's tuning over the range, sought where none is given."""
    blank = Robustness(name in case.untuned, case.control.max_sensitivity, *(ends or (None, None)))
    if name in without or ends is None:
        return replace(blank, why=without.get(name))
    try:
        loop = Loop(case, name, *ends)
        tuning, found = _sought(loop, blank.target) if blank.sought else _given(loop)
        return _told(loop, tuning, found, blank)
    except NOT_FOUND as why:
        return replace(blank, why=str(why).removeprefix(f"{name}: "))


def _given(loop: Loop) -> tuple[Controller, tuple[Margins, ...]]:
    tuning = loop.given()
    return tuning, loop.margins(tuning)


def _sought(loop: Loop, target: float) -> tuple[Controller, tuple[Margins, ...]]:
    """The robust PI as it is typed in, in three digits; the gain is lowered until they keep Ms."""
    found = loop.robust(target)
    gain, reset = float(f"{abs(found.gain):.3g}"), float(f"{found.reset:.3g}")
    for _ in range(LOWERED):
        tuning = loop.pid(gain, reset)
        judged = loop.margins(tuning)
        if _worst(loop, judged)[1] <= target:
            return tuning, judged
        gain = float(f"{0.99 * gain:.3g}")
    raise RunError(f"no gain keeps Ms below {target:g} over the range")


def _worst(loop: Loop, found: tuple[Margins, ...]) -> tuple[float, float]:
    """(held value, |S|) of the point with the largest |S|, of those whose plant is stable."""
    stable = [(float(h), m.sensitivity if m.stable else inf) for h, m, u in
              zip(loop.held, found, loop.unstable, strict=True) if not u]
    if not stable:
        raise RunError("the plant is unstable, its elements standing still, at every point of the "
                       "range")
    return max(stable, key=lambda pair: pair[1])


def _told(loop: Loop, tuning: Controller, found: tuple[Margins, ...], blank: Robustness
          ) -> Robustness:
    at, worst = _worst(loop, found)
    broken = tuple(float(h) for h, m in zip(loop.held, found, strict=True) if not m.stable)
    return replace(blank, gains=(abs(tuning.gain), tuning.reset), worst_at=at,
                   sensitivity=worst if worst < inf else None, unstable_at=broken,
                   largest_step=_least([largest_step(loop, tuning, found)]),
                   fastest_ramp=_fastest_ramp(loop),
                   full_travel=full_travel(loop),
                   why="the loop is unstable there" if broken else None)


def _least(values: Iterable[float]) -> float | None:
    """None where there is none, or none that is finite."""
    least = min(values, default=inf)
    return float(least) if least < inf else None


def _fastest_ramp(loop: Loop) -> float | None:
    """Least over the stable points of span·|G(0)|·rate/share, every element at its own rate [held
    unit/s]."""
    each, width = loop.assembled.plant.actuators.each, span(loop.case)[1]
    return _least(width * abs(lin.gain) * min(each[a].rate_up, each[a].rate_down)
                  / abs(lin.share[a])
                  for lin, u in zip(loop.linear, loop.unstable, strict=True) if not u
                  for a in range(each.size) if lin.share[a] != 0.0)
