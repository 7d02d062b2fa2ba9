"""Trends of one run in a picture: stacked panels over one time axis."""

from collections.abc import Sequence

from matplotlib.axes import Axes

from simfan.history import History
from simfan.report import ink
from simfan.report.marks import Event, Span
from simfan.report.panels import Panel
from simfan.report.thinning import kept

FULL, THIN = 1.1, 0.9
"""Widths of lines [points]."""


def draw(
    stack: Sequence[Axes], run: History, panels: Sequence[Panel], events: Sequence[Event],
    spans: Sequence[Span], flat: bool = False, buckets: int | None = None,
) -> None:  # fmt: skip
    """Fill axes that share their time axis, one for each panel from the top.

    With `flat` the lines are a bitmap; with `buckets` they are thinned to so many of time.
    """
    top, last = stack[0], stack[-1]
    for axes, panel in zip(stack, panels, strict=True):
        _fill(axes, run, panel, flat, buckets)
        _mark(axes, events, spans)
        axes.set_xlim(run.time[0], run.time[-1] if run.time.size > 1 else run.facts.duration_s)
        high = 1.05 if axes is top else 0.99
        axes.legend(loc="lower right", bbox_to_anchor=(1.0, high), ncols=4, borderaxespad=0.0)
        axes.tick_params(labelbottom=axes is last)
    _number(top, events)
    last.set_xlabel(ink.axis("Time", "t", "s"))


def _fill(axes: Axes, run: History, panel: Panel, flat: bool, buckets: int | None) -> None:
    for line in panel.lines:
        stay = kept(run.time, line.values, buckets) if buckets else slice(None)
        label = f"{ink.literal(line.name)} {ink.typeset_symbol(line.sign)}".strip()
        axes.plot(run.time[stay], line.values[stay], color=line.colour, ls=line.dash,
                  lw=THIN if line.thin else FULL, rasterized=flat, label=label)
    axes.set_ylabel(ink.axis(panel.name, ink.typeset_symbol(panel.sign), panel.unit))
    axes.margins(y=0.08)
    if panel.limits:
        axes.set_ylim(*panel.limits)


def _mark(axes: Axes, events: Sequence[Event], spans: Sequence[Span]) -> None:
    for event in events:
        axes.axvline(event.at_s, color=ink.GREY, lw=0.6, ls=(0, (1, 2)), zorder=0.5)
    for span in spans:
        axes.axvspan(span.start_s, span.end_s, facecolor="#F1F1F1", edgecolor="#CFCFCF",
                     hatch="////", lw=0.0, zorder=0.1)  # fmt: skip


def _number(axes: Axes, events: Sequence[Event]) -> None:
    for event in events:
        axes.annotate(
            event.mark, (event.at_s, 1.0), xycoords=("data", "axes fraction"), va="center",
            ha="center", fontsize=6.5,
            bbox={"boxstyle": "circle,pad=0.2", "fc": "white", "ec": ink.GREY, "lw": 0.6},
        )  # fmt: skip
