"""The page of `simfan fit`: numbers with their intervals, what was left, what the model leaves."""

from collections.abc import Iterable
from functools import partial
from math import floor, log10

from matplotlib.figure import Figure
from rich.console import Group, RenderableType

from simfan.fit_answer import FitAnswer, FittedNumber, SignalFit
from simfan.report.fit_pictures import picture, seen
from simfan.report.items import item
from simfan.report.names import signal_words
from simfan.report.sections import Drawing, Section
from simfan.report.tune_tables import Rows
from simfan.units import System, convert, preferred, show, significant

CAUTIONS = (
    "Fitted numbers hold where the trend was: for other flows, openings, gas and states of the "
    "plant they are a guess. Try them on a second trend before relying on them.",
    "Stall and surge limits, trips, overload and draft limits are not to be set from a fit alone.",
    "An interval covers noise. It does not cover a wrong fan curve, a leak, or a disturbance.",
    "The maker's curve and data, local codes and licensed practice rule.",
)
FINEST = 5
"""Digits of an estimate, however narrow its interval."""
SAYS = "Plant numbers estimated from a recorded trend."
DEFINED = ("residuals are counted in units of noise: 1 is what noise alone leaves; alike over so "
           "many samples: 1 is a residual that knows nothing of its neighbours")


def _answer(answer: FitAnswer, system: System) -> RenderableType:
    n, told = len(answer.fitted), len(answer.numbers)
    sure = "the model explains the trend" if answer.explained else (
        "the model does not explain the trend, see below")
    ended = "" if answer.converged else "; the search did not end on a minimum"
    return Group(
        item(f"{answer.strategy} ({answer.method}), "
             + (f"{answer.trend}, " if answer.trend else "")
             + f"{show(answer.duration, 'time', system)} at "
             f"{show(answer.interval, 'time', system)}, driven by the recorded {answer.driven_by}"),
        item(f"{n} of {told} numbers can be told from it; residuals {significant(answer.left, 2)} "
             f"times the noise: {sure}{ended}"))


def _numbers(answer: FitAnswer, system: System) -> RenderableType | None:
    if not answer.fitted:
        return None
    heads = ("", "scenario", "trend", "95 % interval")
    return Rows(heads, lambda miss: [_row(n, system) for n in answer.fitted])


def _row(number: FittedNumber, system: System) -> list[str]:
    trend, ends = rounded(number, system)
    return [number.label + (f" [{preferred(number.kind, system)}]" if number.kind else ""),
            bare(number.before, number.kind, system), trend, ends or "-"]


def rounded(number: FittedNumber, system: System) -> tuple[str, str]:
    """Estimate and interval in the unit that people prefer, without it: as many places as two
    digits of the interval's half width need."""
    if number.low is None or number.high is None:
        return bare(number.estimate, number.kind, system), ""
    values = [convert(v, number.kind, preferred(number.kind, system)) if number.kind else v
              for v in (number.estimate, number.low, number.high)]
    half = 0.5 * abs(values[2] - values[1])
    most = FINEST - floor(log10(max(map(abs, values)) or 1.0)) - 1
    places = min(most, 1 - floor(log10(half)) if half > 0.0 else most)
    middle, low, high = (f"{round(v, places):.{max(0, places)}f}" for v in values)
    return middle, f"{low} to {high}"


def bare(value: float, kind: str | None, system: System) -> str:
    """A value in the unit that people prefer, without it."""
    return show(value, kind, system, digits=4).split(" ")[0] if kind else significant(value, 4)


def interval(number: FittedNumber) -> str:
    """In a line, such as "42.1 m3 (40.2 to 44.1), was 30 m3"."""
    unit = f" {preferred(number.kind, 'si')}" if number.kind else ""
    estimate, ends = rounded(number, "si")
    return (f"{estimate}{unit} ({ends or 'no interval'}), was "
            f"{bare(number.before, number.kind, 'si')}{unit}")


def _left(answer: FitAnswer, system: System) -> RenderableType | None:
    lines = [item(f"{n.label}, {_with_unit(n, system)}: {n.why}" if n.why else n.label)
             for n in answer.left_alone]
    return Group(*lines) if lines else None


def _with_unit(number: FittedNumber, system: System) -> str:
    return (show(number.before, number.kind, system, digits=4) if number.kind else
            significant(number.before, 4))


def _residuals(answer: FitAnswer, system: System) -> RenderableType:
    heads = ("", "noise", "residual\nscenario", "residual\nfitted", "alike\nover", "samples")
    return Group(Rows(heads, lambda miss: [_signal(s, system, miss) for s in answer.signals]),
                 item(DEFINED))


def _signal(signal: SignalFit, system: System, miss: str) -> list[str]:
    left = significant(signal.left, 2) + ("" if signal.explained else f" {miss}")
    return [signal_words(signal.name), noise_words(signal, system),
            significant(signal.before, 2), left, significant(signal.memory, 2),
            str(signal.samples)]


def noise_words(signal: SignalFit, system: System) -> str:
    """With its unit; a temperature or an absolute pressure as a difference."""
    kind = "pressure" if signal.kind == "absolute pressure" else signal.kind
    return show(signal.noise, kind, system, digits=2)


def _correlations(answer: FitAnswer, system: System) -> RenderableType | None:
    names = [n.label for n in answer.fitted]
    if len(names) < 2:
        return None
    heads = ("", *(str(k + 1) for k in range(len(names))))
    rows = [[f"{k + 1} {name}", *(f"{r:.2f}" for r in answer.correlation[k, :k + 1]),
             *[""] * (len(names) - k - 1)] for k, name in enumerate(names)]
    return Rows(heads, lambda miss: rows)


def _findings(answer: FitAnswer, system: System) -> RenderableType | None:
    return Group(*map(item, answer.findings)) if answer.findings else None


def _searched(answer: FitAnswer, system: System) -> RenderableType | None:
    if not answer.searches:
        return None
    lines = [f"start {k + 1}: residuals {significant(s.left, 4)} times the noise; "
             f"{'a minimum' if s.converged else 'no minimum'}: {s.why}"
             for k, s in enumerate(answer.searches)]
    return Group(*map(item, (*lines, f"{answer.evaluations} runs of the model")))


def _drawings(answer: FitAnswer, system: System) -> Iterable[Drawing]:
    for signal in answer.signals:
        name = signal.name.replace(" ", "_")
        yield Drawing(f"fit/{name}", partial(_draw, answer, signal, system), seen(signal))


def _draw(answer: FitAnswer, signal: SignalFit, system: System, flat: bool) -> Figure:
    return picture(answer, signal, system, flat)


ANSWER: Section[FitAnswer] = Section("fit-answer", "The fit", text=_answer)
NUMBERS: Section[FitAnswer] = Section("fit-numbers", "What the trend tells", text=_numbers)
LEFT: Section[FitAnswer] = Section("fit-left", "What it cannot tell: left as in the scenario",
                                   text=_left)
FINDINGS: Section[FitAnswer] = Section("fit-findings", "Worth knowing", text=_findings)
CAUTION: Section[FitAnswer] = Section(
    "fit-cautions", "Be careful", text=lambda answer, _: Group(*map(item, CAUTIONS)))
FIT: tuple[Section[FitAnswer], ...] = (
    ANSWER, NUMBERS, LEFT, FINDINGS,
    Section("fit-residuals", "What the model leaves", text=_residuals, drawings=_drawings),
    Section("fit-correlations", "Correlation of the estimates", text=_correlations),
    Section("fit-search", "The search", text=_searched),
    Section("fit-assumed", "Assumed",
            text=lambda answer, _: Group(*map(item, answer.assumed))),
    CAUTION)
QUIET = (NUMBERS, LEFT, FINDINGS)
