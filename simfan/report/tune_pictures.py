"""The pictures of `simfan tune`, for its folder and its page."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING

from simfan.loop_answer import LoopAnswer, StrategyLoop
from simfan.report.names import file_names
from simfan.report.sections import Drawing, Fragment, Section
from simfan.units import System

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FOLDER = "tuning"
"""Of the pictures, beside tune.json."""
RANGE, WAYS, RUNS = (f"{FOLDER}/{part}" for part in ("over-range", "ways", "runs"))
"""Folders in it, a picture for each strategy."""


def _named(answer: LoopAnswer) -> list[tuple[StrategyLoop, str]]:
    return list(zip(answer.strategies, file_names([s.name for s in answer.strategies]),
                    strict=True))


def _process(answer: LoopAnswer, system: System) -> Iterable[Drawing]:
    if any(p.stable for s in answer.strategies for p in s.points):
        yield Drawing(f"{FOLDER}/process", partial(_process_of, answer, system))


def _strategies(answer: LoopAnswer, system: System) -> Iterable[Drawing]:
    for found, file in _named(answer):
        if any(t.curves for t in found.tunings):
            yield Drawing(f"{RANGE}/{file}", partial(_range_of, answer, found, system))


def _ways(answer: LoopAnswer, system: System) -> Iterable[Drawing]:
    for found, file in _named(answer):
        if any(w.curves for w in found.ways):
            yield Drawing(f"{WAYS}/{file}", partial(_ways_of, answer, found, system))


def _runs(answer: LoopAnswer, system: System) -> Iterable[Drawing]:
    for found, file in _named(answer):
        if any(t.run for t in found.tunings):
            yield Drawing(f"{RUNS}/{file}", partial(_runs_of, answer, found, system))


def _process_of(answer: LoopAnswer, system: System, flat: bool) -> Figure:
    from simfan.report.tune_process import picture

    return picture(answer, system)


def _range_of(answer: LoopAnswer, found: StrategyLoop, system: System, flat: bool) -> Figure:
    from simfan.report.tune_range import picture

    return picture(answer, found, system)


def _ways_of(answer: LoopAnswer, found: StrategyLoop, system: System, flat: bool) -> Figure:
    from simfan.report.tune_range import ways

    return ways(answer, found, system)


def _runs_of(answer: LoopAnswer, found: StrategyLoop, system: System, flat: bool) -> Figure:
    from simfan.report.tune_runs import picture

    return picture(answer, found, system)


def _html_process(answer: LoopAnswer, system: System) -> Fragment | None:
    from markupsafe import Markup

    from simfan.report.inline import figure

    drawn = [figure(d, "Gain, lag and dead time against flow") for d in _process(answer, system)]
    return Fragment(Markup("").join(drawn)) if drawn else None


def _html_range(answer: LoopAnswer, system: System) -> Fragment | None:
    return _figures(_strategies(answer, system), "sensitivity, Nyquist curve and step answers")


def _html_ways(answer: LoopAnswer, system: System) -> Fragment | None:
    return _figures(_ways(answer, system), "one tuning for the whole range, and ways beside it")


def _html_runs(answer: LoopAnswer, system: System) -> Fragment | None:
    return _figures(_runs(answer, system), "a setpoint step and a load step at mid-range")


def _figures(drawings: Iterable[Drawing], what: str) -> Fragment | None:
    from markupsafe import Markup

    from simfan.report.inline import figure

    drawn = [figure(drawing, f"{drawing.name.rpartition('/')[2]}: {what}") for drawing in drawings]
    return Fragment(Markup("").join(drawn)) if drawn else None


PROCESS_DRAWN = Section("tune-process-drawn", "", drawings=_process, html=_html_process)
STRATEGIES_DRAWN = Section("tune-over-range", "Each loop over the range, as given and as tuned",
                           drawings=_strategies, html=_html_range)
WAYS_DRAWN = Section("tune-ways-drawn", "", drawings=_ways, html=_html_ways)
RUNS_DRAWN = Section("tune-runs", "Each loop in a run", drawings=_runs, html=_html_runs)
