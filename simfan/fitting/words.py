"""Why a number was left, and what is worth knowing, in words."""

from collections.abc import Iterator, Sequence
from math import sqrt

import numpy as np

from simfan.fit_answer import ALIKE, FitAnswer, FittedNumber, SignalFit
from simfan.fitting.model import OUTPUT, Array, Model, Ran
from simfan.fitting.numbers import FIXED_PRESSURE, RATES, Number
from simfan.fitting.record import ELEMENT
from simfan.fitting.sensitivity import Left
from simfan.units import show, significant

STILL = 0.01
"""Of an element's stroke: it was not moved."""
CLOSE_TOGETHER = 15.0
"""Collinearity beyond which numbers are hardly told apart: 10 to 15, Brun, Reichert and Künsch
(2001); from memory."""
DROWNED = ("what the model leaves unexplained is too large, or stays alike for too long, for it "
           "to be known")
ONE = 0.995
"""|Correlation| that is printed as 1.00."""
FAINTEST = 1e6
"""Standard deviation of x beyond which nothing shows but rounding."""
EARLY = 0.05
"""Share of a trend that is its beginning."""


def why_left(number: Number, left: Left, names: Sequence[str], model: Model, ran: Ran) -> str:
    """The reason in a sentence; `names` are those of the numbers that were looked at."""
    if left.partner is not None and abs(left.related) < ALIKE:
        return ("too faint to be known beside the other numbers, which together make up for much "
                f"of its change, {names[left.partner]} the most")
    if left.partner is not None:
        return (f"cannot be told from {names[left.partner]} by this trend: a change of the one is "
                "made up for by the other")
    return _unmoved(number, model, ran) or _faint(left)


def _unmoved(number: Number, model: Model, ran: Ran) -> str | None:
    """Where the trend never did what would show the number."""
    key = str(number.keys[-1])
    if number.element:
        return _of_element(number, key, ran)
    if number.path == "fan.inertia":
        return _inertia(ran)
    if number.path == FIXED_PRESSURE:
        return ("the flow hardly changed: how much of the pressure stands at any flow cannot be "
                "known")
    if number.path == "ductwork.volume":
        return ("the trend never moved quickly enough to show how much gas the volume stores: its "
                "volume cannot be known")
    names = [s.name for s in model.record.series]
    if number.path == "control.transmitter.lag" and "measured_value" not in names and (
            model.driven_by == OUTPUT):
        return "the trend has no measured value: the transmitter's lag cannot be known"
    return None


def _of_element(number: Number, key: str, ran: Ran) -> str | None:
    elements = ran.assembled.items["element"]
    assert number.element
    place = ran.traces.element_position[:, elements.index(number.element)]
    who = f"the {number.element}"
    what = number.label.removeprefix(f"{number.element}, ")
    step = np.diff(place)
    if np.ptp(place) < STILL:
        return f"the trend never moved {who}: {what} cannot be known"
    if (key, True) in (("ramp_up", step.max() <= 0.0), ("ramp_down", step.min() >= 0.0),
                       ("stroke_time_closing", step.min() >= 0.0)):
        return f"the trend never moved {who} that way: {what} cannot be known"
    if key in RATES:
        return (f"the trend never moved {who} as fast as it can go: {what} cannot be known; the "
                f"quickest move asked of it would take {_whole(ran, place, key):.2g} s for the "
                "whole way")
    if key in ("leakage", "shut_loss"):
        return (f"the lowest place of {who} was {100.0 * place.min():.0f} %: what passes when shut "
                "cannot be known")
    return None


def _inertia(ran: Ran) -> str:
    if np.ptp(ran.traces.speed_ratio[:, 0]) < STILL:
        return "the trend never changed the speed: the inertia cannot be known"
    return ("the drive kept the speed to its reference all the time: the inertia cannot be known "
            "from a trend in which torque was never short")


def _whole(ran: Ran, place: Array, key: str) -> float:
    """Time [s] from end to end at the quickest move of a second, that way."""
    n = max(1, round(1.0 / float(ran.time[1] - ran.time[0])))
    step = place[n:] - place[:-n]
    if key == "stroke_time":
        step = np.abs(step)
    elif key in ("ramp_down", "stroke_time_closing"):
        step = -step
    return float(n * (ran.time[1] - ran.time[0]) / max(float(step.max()), 1e-9))


def _faint(left: Left) -> str:
    if left.deviation > FAINTEST:
        return "nothing in the trend moves with it"
    return (f"a change of 10 % moves the whole trend by {significant(0.1 / left.deviation, 2)} "
            "times the noise of one sample: too faint to be known")


def findings(answer: FitAnswer) -> Iterator[str]:
    """Worth knowing of a fit, the gravest first."""
    yield from _not_converged(answer)
    yield from _not_explained(answer)
    yield from (f"{n.label} ended on a bound of the search, {_shown(n)}: it is not a result"
                for n in answer.fitted if n.at_bound)
    yield from inseparable(answer)
    for one, other, r in answer.pairs:
        if abs(r) < ONE:
            yield (f"{one} and {other} trade off (correlation {r:.2f}): the pair is known better "
                   "than either")
    if answer.collinearity and answer.collinearity > CLOSE_TOGETHER and not answer.pairs:
        yield (f"the numbers together are hardly told apart (collinearity "
               f"{answer.collinearity:.0f}, 1 is best): fit fewer, or record more signals")
    yield from _frozen(answer)
    yield from _other_ends(answer)
    yield from _at_the_start(answer)
    if not answer.fitted:
        yield "the trend tells none of these numbers; the scenario stands as it was"


def inseparable(answer: FitAnswer) -> Iterator[str]:
    """Of each pair that is known together alone."""
    for one, other, r in answer.pairs:
        if abs(r) >= ONE:
            yield (f"only a combination of {one} and {other} is known (correlation {r:.2f}): keep "
                   "both of these values together or neither, and take neither for itself")


def _not_converged(answer: FitAnswer) -> Iterator[str]:
    if not answer.converged:
        yield ("the search did not end on a minimum: these numbers are no result "
               f"({answer.searches[0].why})")


def _not_explained(answer: FitAnswer) -> Iterator[str]:
    worst = sorted((s for s in answer.signals if not s.explained), key=lambda s: -s.left)
    if worst:
        sizes = ", ".join(f"{significant(s.left, 2)} times the noise in {said(s)}" for s in worst)
        alike = max(s.memory for s in worst)
        for_long = f", and stay alike over {alike:.0f} samples" if alike >= 1.5 else ""
        yield (f"the model does not explain this trend: residuals are {sizes}{for_long}. Something "
               "moved that the model does not know, or a number that was not fitted (the fan's "
               "curve, a characteristic, a leak) is another; the intervals hold only where the "
               "model does")


def _frozen(answer: FitAnswer) -> Iterator[str]:
    for s in answer.signals:
        if not s.name.startswith(ELEMENT) and float(np.ptp(s.measured)) == 0.0:
            yield (f"{said(s)} never moves, not even by noise: a frozen transmitter, or an archive "
                   "that keeps a value only when it moves, makes intervals too narrow")


def _other_ends(answer: FitAnswer) -> Iterator[str]:
    worse = sum(s.left > 1.02 * answer.searches[0].left + 1e-3 for s in answer.searches)
    if worse:
        yield (f"{worse} of {len(answer.searches)} starts ended elsewhere, with larger residuals: "
               "other minima exist, and the best one found stands")


def _at_the_start(answer: FitAnswer) -> Iterator[str]:
    for s in answer.signals:
        early = s.residual[s.time <= s.time[0] + EARLY * answer.duration]
        rms = float(np.sqrt(np.mean(early**2)))
        if s.left > 0.0 and rms > 3.0 * max(s.left, 1.0) and early.size < 0.5 * s.samples:
            yield (f"residuals of {said(s)} are largest at the beginning, {significant(rms, 2)} "
                   "times the noise: the trend does not seem to begin at rest; skip its beginning")


def said(signal: SignalFit) -> str:
    """A signal's name in words."""
    return signal.name.replace("_", " ")


def _shown(number: FittedNumber) -> str:
    return (show(number.estimate, number.kind, digits=4) if number.kind else
            significant(number.estimate, 4))


def assumed(model: Model, case_events: int, skip: float) -> Iterator[str]:
    """On what a fit rests."""
    if model.driven_by == OUTPUT:
        yield ("the model was driven by the recorded controller output, in open loop: disturbances "
               "that the controller answered do not enter through it, but those that moved the "
               "reading by themselves do")
    else:
        yield ("the model was driven by the recorded setpoint, with the scenario's own controller: "
               "a disturbance of the plant that the controller answered, or other gains than the "
               "scenario's, falsify every number; a trend with the controller's output is better")
    yield "the plant was at rest where the trend begins" + (
        f"; what follows in the first {skip:g} s was not compared" if skip else "")
    yield ("a recorded signal shows what the model's signal of the same name is; only the measured "
           "value passes a transmitter in the model")
    if case_events:
        yield (f"the {case_events} events of the scenario's timeline, its protection and its noise "
               "were left out: the trend takes their place")
    yield from model.record.said


def inflation(memories: Sequence[float], residuals: Array, sizes: Sequence[int]) -> float:
    """How many samples of plain noise one sample is worth less: Σ n τ s²/Σ n, at least 1."""
    ends = np.cumsum([0, *sizes])
    found = [size * tau * float(np.mean(residuals[a:b]**2)) for size, tau, a, b in
             zip(sizes, memories, ends[:-1], ends[1:], strict=True)]
    return max(1.0, sum(found) / sum(sizes))


def rms(values: Array) -> float:
    """Root mean square."""
    return sqrt(float(np.mean(values**2)))
