"""Plant numbers from a recorded trend: what it can tell, the search, how sure its end is."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np

from simfan.errors import RunError
from simfan.fit_answer import FitAnswer, FittedNumber, SignalFit
from simfan.fitting.model import OUTPUT, SETPOINT, Array, Model, Ran
from simfan.fitting.noise import autocorrelation
from simfan.fitting.numbers import RATES, Number, chosen, in_file
from simfan.fitting.record import Record, record
from simfan.fitting.sensitivity import KNOWN, Left, Scaled, alone, collinearity, unknown
from simfan.fitting.solve import Solved, Sure, at_bounds, solve, sure
from simfan.fitting.words import DROWNED, assumed, findings, inflation, rms, why_left
from simfan.plant.case import Case
from simfan.trends.plausible import doubts
from simfan.trends.trend import Trend

STARTS = 3
SLOWER = 3.0
"""A time of a stroke or ramp that does not show is also tried so many times as long: a limit that
the model never met may be what the trend shows."""
BETTER = 20.0
"""Fall of the sum of squares that then counts: no chance of noise. An assumption."""
ROUNDS = 5
"""Fits, each without what the one before could not tell."""
LAGS = 60
"""Of the autocorrelation that an answer keeps."""
OWN_OUTPUT = ("cascade", "mid_ranging", "second_loop")
"""Structures in which one recorded output does not say where every element was told to go."""


def fit(case: Case, name: str, trend: Trend, paths: Sequence[str] = (),
        driven_by: str | None = None, skip: float = 0.0, starts: int = STARTS,
        progress: Callable[[str, float], None] | None = None) -> FitAnswer:
    """The numbers at `paths`, or the usual ones of the strategy, that bring the model nearest to
    the trend.

    Least squares over all compared samples, each in units of its signal's noise. `driven_by` is
    "controller output" or "setpoint"; left out, the output where the trend has it. Samples before
    `skip` [s] are not compared. Raises RunError, in words, for a trend that cannot be used, a
    number that cannot be fitted, or a strategy without gains that the setpoint would drive.
    """
    numbers, read = chosen(case, name, paths), record(case, trend, skip)
    model = Model(case, name, read, numbers, _driven(case, name, read, driven_by))

    def told(share: float) -> None:
        if progress:
            progress(name, share)

    ran = model.run(model.before)
    fitted = _rounds(model, ran, starts, told)
    told(1.0)
    return _answer(case, model, ran, fitted, skip, trend)


def _driven(case: Case, name: str, read: Record, wanted: str | None) -> str:
    strategy = case.strategies[name]
    apart = next((key for key in OWN_OUTPUT if getattr(strategy, key)), None)
    if wanted not in (None, OUTPUT, SETPOINT):
        raise RunError(f'driven by {wanted!r}; allowed: "{OUTPUT}" or "{SETPOINT}"')
    if wanted == OUTPUT and apart:
        raise RunError(f"{name} has {apart}: one recorded output does not say where every element "
                       'was told to go; fit it by the "setpoint"')
    has = {OUTPUT: read.output, SETPOINT: read.setpoint}
    by = wanted or (OUTPUT if read.output is not None and not apart else SETPOINT)
    if has[by] is None:
        raise RunError(f"the trend has no {by} to drive the model; it has "
                       f"{', '.join(s.name for s in read.series)}")
    if by == SETPOINT and name in case.untuned:
        raise RunError(f"{name} gives no gains, so its controller cannot be run on the recorded "
                       "setpoint: record the controller's output, or give "
                       f"strategies.{name}.controller as it was on the plant")
    return by


@dataclass
class _Found:
    """Where the rounds ended."""

    free: list[int]
    values: Array
    left: dict[int, str]
    """Place of a number → why it was left."""
    solved: Solved | None
    sure: Sure | None
    hidden: set[int]
    """Those that did not show by themselves, whatever the others."""
    shows: Array
    """‖S_j‖ of every number, where the search began."""


def _rounds(model: Model, ran: Ran, starts: int, told: Callable[[float], None]) -> _Found:
    """Fit what the trend can tell; look again at the end; without what it cannot tell, again."""
    everything = Scaled(model, range(len(model.numbers)), model.before)
    jacobian = everything.jacobian(everything.x())
    found = _Found(list(range(len(model.numbers))), model.before, {}, None, None,
                   set(), np.linalg.norm(jacobian, axis=0))
    told(0.15)
    _leave(found, [left for left in unknown(jacobian) if not _limits(found, left, everything)],
           model, ran)
    again = True
    for turn in range(ROUNDS):
        if not found.free:
            break
        _fitted(found, model, starts if turn == 0 else 1, told)
        assert found.solved and found.sure
        worth = inflation(found.sure.memories, found.solved.residuals, _sizes(model))
        lost = unknown(found.solved.jacobian, worth)
        if turn == ROUNDS - 1:
            break
        _leave(found, lost, model, ran, worth)
        if not lost:
            if not (again and _regained(found, model, worth)):
                break
            again = False
    return found


def _limits(found: _Found, left: Left, everything: Scaled) -> bool:
    """Whether a time of a stroke or ramp, longer than the scenario's, brings the model nearer; the
    search then begins there."""
    number = everything.numbers[left.place]
    if left.partner is not None or str(number.keys[-1]) not in RATES:
        return False
    x, slower = everything.x(), everything.x()
    slower[left.place] += log(SLOWER)
    first, second = (float(np.sum(everything.residuals(at)**2)) for at in (x, slower))
    if second > first - BETTER:
        return False
    found.values[left.place] = number.value(float(slower[left.place]))
    return True


def _regained(found: _Found, model: Model, worth: float) -> bool:
    """Take back what the scenario's numbers did not show and the fitted ones do; whether any."""
    hidden = [i for i in found.left if i in found.hidden]
    scaled = Scaled(model, hidden, found.values)
    shown = [i for i, d in zip(hidden, alone(scaled.jacobian(scaled.x()), worth), strict=True)
             if d <= KNOWN] if hidden else []
    for i in shown:
        del found.left[i]
    found.free = sorted([*found.free, *shown])
    return bool(shown)


def _leave(found: _Found, lost: Sequence[Left], model: Model, ran: Ran, worth: float = 1.0
           ) -> None:
    """Back to the scenario's values with what cannot be told, `worth` samples counting as one."""
    names = [model.numbers[i].label for i in found.free]
    places = [found.free[left.place] for left in lost]
    for place, left in zip(places, lost, strict=True):
        drowned = left.partner is None and left.deviation <= KNOWN * np.sqrt(worth)
        found.left[place] = DROWNED if drowned else why_left(
            model.numbers[place], left, names, model, ran)
        found.values[place] = model.before[place]
        if left.partner is None and not drowned:
            found.hidden.add(place)
    found.free = [i for i in found.free if i not in places]
    if lost:
        found.solved = found.sure = None


def _fitted(found: _Found, model: Model, starts: int, told: Callable[[float], None]) -> None:
    """One search, repeated at a shorter step where the plant it found is quicker."""
    for again in (False, True):
        scaled = Scaled(model, found.free, found.values)
        found.solved = solve(scaled, 1 if again else starts,
                             told=lambda share: told(0.15 + 0.75 * share))
        found.values = scaled.at(found.solved.x)
        if not model.finer_for(found.values):
            break
    assert found.solved
    found.sure = sure(found.solved.jacobian, found.solved.residuals, _sizes(model))


def _sizes(model: Model) -> list[int]:
    return [s.time.size for s in model.record.series]


def _answer(case: Case, model: Model, ran: Ran, found: _Found, skip: float, trend: Trend
            ) -> FitAnswer:
    strategy = case.strategies[model.name]
    p = len(found.free)
    answer = FitAnswer(
        title=case.title, strategy=model.name, method=strategy.method,
        held_kind=case.control.held_kind, driven_by=model.driven_by,
        duration=model.record.duration, interval=model.record.interval,
        numbers=tuple(_numbers(case, model, found)),
        correlation=found.sure.correlation if found.sure else np.zeros((p, p)),
        collinearity=collinearity(found.solved.jacobian) if found.solved else None,
        signals=tuple(_signals(model, ran, found)),
        searches=found.solved.searches if found.solved else (), evaluations=model.evaluations,
        findings=(), assumed=(*assumed(model, len(case.timeline), skip), *trend.notes),
        trend=trend.file or None)
    return replace(answer, findings=(*doubts(trend, case, model.name).values(),
                                     *findings(answer)))


def _numbers(case: Case, model: Model, found: _Found) -> list[FittedNumber]:
    scaled = Scaled(model, found.free, found.values)
    bound = at_bounds(scaled, scaled.x()) if found.free else ()
    half = found.sure.half if found.sure else ()
    ends = {i: (float(h), bool(b)) for i, h, b in zip(found.free, half, bound, strict=True)}
    written = in_file(case, model.numbers, list(found.values))
    before = in_file(case, model.numbers, list(model.before))
    return [_number(n, i, found, ends.get(i), w if w != b else None)
            for i, (n, w, b) in enumerate(zip(model.numbers, written, before, strict=True))]


def _number(number: Number, i: int, found: _Found, end: tuple[float, bool] | None,
            written: float | None) -> FittedNumber:
    estimate = float(found.values[i])
    made = FittedNumber(
        number.path, number.label, number.kind, number.before, estimate, None, None,
        end is not None, 0.1 * float(found.shows[i]), found.left.get(i), in_file=written)
    if end is None:
        return made
    half, bound = end
    if bound:
        return replace(made, at_bound=True, why="on a bound of the search")
    x = number.x(estimate)
    return replace(made, low=number.value(x - half), high=number.value(x + half))


def _signals(model: Model, ran: Ran, found: _Found) -> list[SignalFit]:
    after = model.run(found.values).samples
    memories = found.sure.memories if found.sure else [1.0] * len(after)
    made = []
    for s, first, last, tau in zip(model.record.series, ran.samples, after, memories, strict=True):
        left = (s.value - last) / s.noise
        made.append(SignalFit(
            s.name, s.kind, s.noise, s.noise_from, rms((s.value - first) / s.noise), rms(left),
            tau, s.time, s.value, first, last, autocorrelation(left, LAGS)))
    return made
