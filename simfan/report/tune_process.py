"""Gain, lag and effective dead time of every strategy's process against flow, one over another."""

from collections.abc import Callable, Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import LogLocator, NullFormatter, ScalarFormatter

from simfan.loop_answer import LoopAnswer, LoopPoint, StrategyLoop
from simfan.report import ink, map_pens
from simfan.units import System, preferred

SIZE_IN = (8.6, 8.4)
ROOM = 1.15
"""An axis ends so many times beyond its largest value."""
LOGARITHMIC = 5.0
"""Gains further apart than so many times stand on a logarithmic axis."""
Values = Callable[[LoopPoint], float | None]


def picture(answer: LoopAnswer, system: System) -> Figure:
    """The process that each controller has to hold, over the common range."""
    with mpl.rc_context(ink.STYLE):
        figure = map_pens.sheet(SIZE_IN)
        axes = figure.subplots(3, 1, sharex=True)
        figure.subplots_adjust(left=0.085, right=0.755, top=0.905, bottom=0.075, hspace=0.13)
        drawn = map_pens.pens(answer.strategies)
        _panel(axes[0], answer, drawn, system, lambda p: abs(p.gain),
               ink.axis("Process gain", "|K|", "% of span per % output"))
        _panel(axes[1], answer, drawn, system, lambda p: p.lag,
               ink.axis("Dominant lag", "τ", "s"))
        _panel(axes[2], answer, drawn, system, lambda p: p.dead_time,
               ink.axis("Effective dead time", "θ", "s"))
        _gains(axes[0], answer)
        axes[2].set_xlabel(ink.axis("Flow at the fan inlet", "Q",
                                    preferred("volume flow", system)))
        for k, panel in enumerate(axes):
            for pen, found in zip(drawn, answer.strategies, strict=True):
                map_pens.letters(panel, pen, flows(found, system), _values(found, k))
        _legend(axes[0], answer, drawn)
        map_pens.head_and_foot(figure, answer.title, "What each loop has to control, over the "
                               "range common to all: the less it changes, the better one tuning "
                               "serves")
    return figure


def flows(found: StrategyLoop, system: System) -> np.ndarray:
    """(n_points,) flow at the wheel in the reader's unit."""
    return np.asarray(ink.shown(np.array([p.flow for p in found.points]), "volume flow", system))


def _values(found: StrategyLoop, k: int) -> np.ndarray:
    of: tuple[Values, ...] = (lambda p: abs(p.gain), lambda p: p.lag, lambda p: p.dead_time)
    return np.array([_value(of[k], p) for p in found.points])


def _value(of: Values, p: LoopPoint) -> float:
    value = of(p) if p.stable else None
    return np.nan if value is None else value


def _panel(axes: Axes, answer: LoopAnswer, drawn: Sequence[map_pens.Pen], system: System,
           of: Values, label: str) -> None:
    for pen, found in zip(drawn, answer.strategies, strict=True):
        values = np.array([_value(of, p) for p in found.points])
        axes.plot(flows(found, system), values, lw=map_pens.WITHIN, **pen.how)
    axes.set_ylabel(label)
    top = max((v for s in answer.strategies for p in s.points if not np.isnan(v := _value(of, p))),
              default=1.0)
    axes.set_ylim(0.0, ROOM * top if top > 0.0 else 1.0)
    map_pens.plain_numbers(axes)


def _gains(axes: Axes, answer: LoopAnswer) -> None:
    """On a logarithmic axis where they lie far apart: equal factors are equal heights."""
    known = [abs(p.gain) for s in answer.strategies for p in s.points if p.stable and p.gain]
    if known and max(known) > LOGARITHMIC * min(known):
        axes.set_yscale("log")
        axes.set_ylim(min(known) / ROOM, max(known) * ROOM)
        axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axes.yaxis.set_major_formatter(ScalarFormatter())
        axes.yaxis.set_minor_formatter(NullFormatter())


def _legend(axes: Axes, answer: LoopAnswer, drawn: Sequence[map_pens.Pen]) -> None:
    handles = [Line2D([], [], lw=map_pens.WITHIN, **pen.how) for pen in drawn]
    names = [f"{pen.letter}  {ink.literal(pen.name)}" for pen in drawn]
    axes.legend(handles, names, loc="upper left", bbox_to_anchor=(1.01, 1.0), borderaxespad=0.0)
    if any(not p.stable for s in answer.strategies for p in s.points):
        axes.text(1.02, 0.0, "no line: the plant is unstable\nby itself there",
                  transform=axes.transAxes, fontsize=6.5, va="bottom")
