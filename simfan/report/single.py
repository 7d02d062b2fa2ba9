"""Pictures of one run, each by itself: the fan map with excursions marked, and the trends."""

from collections.abc import Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan import units
from simfan.history import History
from simfan.metrics import Event
from simfan.report import fanmap, ink, marks, trends
from simfan.report.figures import stack
from simfan.report.panels import panels

MAP_IN, TRENDS_IN = (5.4, 4.9), (10.5, 7.0)
PAPER_BUCKETS = 700
"""Of time, on a sheet of paper."""
MOST_MARKED = 26
"""Letters on a map; the list goes on."""


def fan_map(run: History, excursions: Sequence[Event], system: units.System, flat: bool) -> Figure:
    """Curves, system, stall line, path; a lettered cross where each excursion began."""
    with mpl.rc_context(ink.STYLE):
        figure = Figure(figsize=MAP_IN)
        axes = figure.add_axes((0.13, 0.28, 0.84, 0.69))
        points = marks.resting(run, marks.events(run, system))
        fanmap.draw(axes, run, points, system, flat)
        _excursions(axes, run, excursions[:MOST_MARKED], system)
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=2, columnspacing=1.5)
    return figure


def _excursions(axes: Axes, run: History, excursions: Sequence[Event], system: units.System,
                ) -> None:
    at = np.searchsorted(run.time, [e.start_s for e in excursions]).clip(max=len(run.time) - 1)
    flow = ink.shown(run.trace("fan_flow")[at], "volume flow", system)
    rise = ink.shown(run.trace("fan_pressure")[at], "pressure", system)
    if not len(at):
        return
    axes.plot(flow, rise, ls="none", marker="X", ms=7, mfc=ink.ORANGE, mec=ink.BLACK, mew=0.8,
              zorder=7, label="an excursion begins, by its letter")  # fmt: skip
    for k, (x, y) in enumerate(zip(flow, rise, strict=True)):
        axes.annotate(marks.letter(k), (x, y), xytext=(-9 - 7 * k % 14, 7), fontsize=8, zorder=8,
                      fontweight="bold", textcoords="offset points")  # fmt: skip


def over_time(run: History, system: units.System, flat: bool) -> Figure:
    """The trends, for paper."""
    with mpl.rc_context(ink.STYLE):
        figure = Figure(figsize=TRENDS_IN)
        place = figure.add_gridspec(1, 1, left=0.07, right=0.985, top=0.95, bottom=0.065)[0]
        shown = panels(run, system)
        axes = stack(figure, place, shown, run)
        out = marks.spans(run.time, marks.left_of_stall(run))
        trends.draw(axes, run, shown, marks.events(run, system), out, flat, PAPER_BUCKETS)
        figure.align_ylabels(axes)
    return figure
