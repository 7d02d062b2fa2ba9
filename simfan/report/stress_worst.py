"""The worst run beside the nominal one: over the fan map above, in time below."""

from collections.abc import Sequence

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.gridspec import SubplotSpec

from simfan.history import History
from simfan.report import fanmap, ink, marks, trends
from simfan.report.figures import stack
from simfan.report.panels import panels
from simfan.report.stress_sheet import DOTS_PER_INCH, head_and_foot
from simfan.units import System

SIZE_IN = (11.69, 12.2)
BUCKETS = 500
"""Of time: half a sheet is narrow."""
Told = tuple[str, History]
"""Words over a column, and its run."""


def picture(title: str, below: str, nominal: Told, worst: Told, system: System,
            flat: bool = False) -> Figure:
    """Two columns whose axes have the same limits, so that they can be compared by eye."""
    with mpl.rc_context(ink.STYLE):
        figure = Figure(figsize=SIZE_IN, dpi=DOTS_PER_INCH)
        grid = figure.add_gridspec(2, 2, height_ratios=(1.0, 1.75), left=0.065, right=0.985,
                                   top=0.93, bottom=0.048, wspace=0.17, hspace=0.3)
        columns = [_column(figure, grid[0, k], grid[1, k], *one, system, flat)
                   for k, one in enumerate((nominal, worst))]
        for pair in zip(*columns, strict=False):
            alike(pair)
        for column in columns:
            figure.align_ylabels(column[1:])
        head_and_foot(figure, title, below)
    return figure


def _column(figure: Figure, above: SubplotSpec, beneath: SubplotSpec, words: str, run: History,
            system: System, flat: bool) -> list[Axes]:
    numbered, shown = marks.events(run, system), panels(run, system)
    top = figure.add_subplot(above)
    fanmap.draw(top, run, marks.resting(run, numbered), system, flat)
    top.set_title(ink.literal(ink.typeset(words)), loc="left", fontweight="bold", fontsize=8.5)
    axes = stack(figure, beneath, shown)
    trends.draw(axes, run, shown, numbered, marks.spans(run.time, marks.left_of_stall(run)), flat,
                BUCKETS)
    return [top, *axes]


def alike(pair: Sequence[Axes]) -> None:
    """The wider of the limits for both; each keeps its own time axis below the map."""
    low, high = (ends(one.get_ylim()[k] for one in pair)
                 for k, ends in ((0, min), (1, max)))
    for one in pair:
        one.set_ylim(low, high)
    if all(one.get_xlabel().startswith("Flow") for one in pair):
        left, right = (ends(one.get_xlim()[k] for one in pair) for k, ends in ((0, min), (1, max)))
        for one in pair:
            one.set_xlim(left, right)
