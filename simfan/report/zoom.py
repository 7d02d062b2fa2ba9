"""Trends that can be zoomed, all on one time axis: strategies laid over one another, then each.

Bokeh draws them in the reader's browser, from its own wheel; nothing is fetched.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from simfan.compare import Comparison, StrategyResult
from simfan.history import History
from simfan.report import ink, marks, panels, thinning
from simfan.report.sections import Fragment, Section
from simfan.units import System

if TYPE_CHECKING:
    from bokeh.models import Range1d
    from bokeh.models.ui.ui_element import UIElement
    from bokeh.plotting import figure as Figure

HEIGHT = 150
"""Of a panel of height 1 [pixels of the screen]."""
AXIS_HEIGHT = 40
"""What the legend above a panel takes [pixels]."""
DASHES = {"-": "solid", "--": "dashed", "-.": "dashdot", ":": "dotted"}
"""matplotlib's names and Bokeh's."""
STRATEGY_COLOURS = (ink.BLUE, ink.VERMILION, ink.GREEN, ink.BLACK, ink.PURPLE, ink.ORANGE, ink.SKY)
STRATEGY_DASHES: tuple[Any, ...] = ("solid", [8, 3], [2, 2], [10, 3, 2, 3], [14, 4],
                                    [6, 2, 2, 2, 2, 2], [4, 4], [1, 3])
"""Seven colours and eight dashes: 56 pairs before one comes again."""
TOGETHER = "All strategies"
NOTE = (
    "Drag to zoom, double-click or the arrow circle to go back; a click on a name hides its line. "
    "All panels share the time axis. Dotted lines are the numbered events, hatching is left of "
    "the {line}. For the screen each line was cut into {buckets} stretches of time, of which the "
    "lowest and the highest sample are drawn; the .npz and .csv files hold every sample."
)


def _html(comparison: Comparison, system: System) -> Fragment | None:
    from bokeh.embed import components

    runs = [r for r in comparison.strategies if len(r.history.time) > 1]
    if not runs:
        return None
    script, div = components(_tabs(runs, system), wrap_script=False)
    note = NOTE.format(line=panels.stall_words(runs[0].history), buckets=thinning.BUCKETS)
    frame = Markup('<p class="screen-note">{}</p><div class="screen" id="zoomable">{}</div>')
    body = frame.format(note, Markup(div))
    return Fragment(body, script)


def _tabs(results: Sequence[StrategyResult], system: System) -> UIElement:
    from bokeh.models import Range1d, TabPanel, Tabs

    ends = [float(r.history.time[i]) for r in results for i in (0, -1)]
    time = Range1d(start=min(ends), end=max(ends), bounds="auto")
    each = [TabPanel(title=r.name, child=_stack(_of_one(r.history, system, time)))
            for r in results]  # fmt: skip
    if len(results) == 1:
        return each[0].child
    all_of_them = TabPanel(title=TOGETHER, child=_stack(_together(results, system, time)))
    return Tabs(tabs=[all_of_them, *each], sizing_mode="stretch_width", name="strategies")


def _stack(figures: Iterable[Figure]) -> UIElement:
    from bokeh.layouts import gridplot

    return gridplot([[f] for f in figures], merge_tools=True, toolbar_location="above",
                    sizing_mode="stretch_width", toolbar_options={"logo": None})


def _of_one(run: History, system: System, time: Range1d) -> Iterable[Figure]:
    for content, plot in _framed(run, panels.panels(run, system), system, time):
        drawn = [(f"{line.name} {line.sign}".strip(),
                  _draw(plot, run, line, line.colour, _dash(line.dash))) for line in content.lines]
        _finish(plot, content, drawn)
        yield plot


def _together(results: Sequence[StrategyResult], system: System, time: Range1d,
              ) -> Iterable[Figure]:
    """Main lines alone, each strategy in its own colour and dash; a click hides it everywhere."""
    run = results[0].history
    stacks = [panels.panels(r.history, system) for r in results]
    first: list[tuple[str, Any]] = []
    plots = []
    for k, (content, plot) in enumerate(_framed(run, stacks[0], system, time, hatched=False)):
        drawn = [(r.name, _draw(plot, r.history, line, *_manner(i)))
                 for i, (r, stack) in enumerate(zip(results, stacks, strict=True))
                 for line in stack[k].lines if line.main]  # fmt: skip
        wanted = [("setpoint SP", _draw(plot, run, line, line.colour, "dotted"))
                  for line in content.lines if line.name == "setpoint"]  # fmt: skip
        _finish(plot, content, [*drawn, *wanted], named=k == 0)
        first = first or drawn
        _hidden_together(first, drawn)
        plots.append(plot)
    return plots


def _manner(i: int) -> tuple[str, Any]:
    """Colour and dash of the strategy with this number."""
    return (STRATEGY_COLOURS[i % len(STRATEGY_COLOURS)], STRATEGY_DASHES[i % len(STRATEGY_DASHES)])


def _hidden_together(first: Sequence[tuple[str, Any]], others: Sequence[tuple[str, Any]]) -> None:
    """What a click on a name hides in the first panel goes in the other one, too."""
    for name, leader in first:
        for other_name, other in others:
            if name == other_name and leader is not other:
                leader.js_link("visible", other, "visible")


def _framed(run: History, contents: Sequence[panels.Panel], system: System, time: Range1d,
            hatched: bool = True) -> Iterable[tuple[panels.Panel, Figure]]:
    """Empty plots with events and hatching."""
    from bokeh.models import ColumnDataSource, VSpan, VStrip

    numbered = marks.events(run, system)
    spans = marks.spans(run.time, marks.left_of_stall(run)) if hatched else ()
    for content in contents:
        plot = _plot(content, time, last=content is contents[-1])
        if spans:
            ends = {"x0": [s.start_s for s in spans], "x1": [s.end_s for s in spans]}
            plot.add_glyph(ColumnDataSource(ends), VStrip(
                x0="x0", x1="x1", fill_color="#F1F1F1", line_color=None, hatch_pattern="/",
                hatch_color="#BBBBBB", hatch_weight=0.5), level="underlay")  # fmt: skip
        if numbered:
            at = ColumnDataSource({"x": [e.at_s for e in numbered]})
            plot.add_glyph(at, VSpan(x="x", line_color=ink.GREY, line_dash="dotted"),
                           level="underlay")  # fmt: skip
        if numbered and content is contents[0]:
            _number(plot, numbered)
        yield content, plot


def _plot(panel: panels.Panel, time: Range1d, last: bool) -> Figure:
    from bokeh.plotting import figure

    plot = figure(
        height=int(HEIGHT * panel.height) + AXIS_HEIGHT, x_range=time, output_backend="canvas",
        tools="xbox_zoom,xpan,xwheel_zoom,reset,save", active_drag="xbox_zoom",
        y_axis_label=panel.axis, min_border_left=80, min_border_right=15,
    )  # fmt: skip
    if panel.limits:
        plot.y_range.update(start=panel.limits[0], end=panel.limits[1])
    plot.xaxis.axis_label = ink.axis("Time", "t", "s") if last else None
    plot.xaxis.major_label_text_font_size = "12px" if last else "0px"
    for axis in (*plot.xaxis, *plot.yaxis):
        axis.axis_label_text_font_style = "normal"
        axis.axis_label_text_color = axis.major_label_text_color = ink.BLACK
    return plot


def _number(plot: Figure, numbered: Sequence[marks.Event]) -> None:
    """The numbers of the events along the top."""
    from bokeh.models import FixedTicker, LinearAxis

    ticks = [e.at_s for e in numbered]
    names: dict[float | str | Any, Any] = {e.at_s: e.mark for e in numbered}
    plot.add_layout(LinearAxis(ticker=FixedTicker(ticks=ticks), major_label_overrides=names,
                               axis_label="event", axis_label_standoff=0,
                               axis_label_text_font_style="normal"), "above")  # fmt: skip


def _draw(plot: Figure, run: History, line: panels.Line, colour: str, dash: Any) -> Any:
    from bokeh.models import ColumnDataSource, Line

    stay = thinning.kept(run.time, line.values)
    data = {"t": run.time[stay].astype(np.float32), "y": line.values[stay].astype(np.float32)}
    glyph = Line(x="t", y="y", line_color=colour, line_dash=dash,
                 line_width=1.2 if line.thin else 1.6)  # fmt: skip
    return plot.add_glyph(ColumnDataSource(data), glyph)


def _dash(name: Any) -> Any:
    return DASHES[name] if isinstance(name, str) else [2 * n for n in name[1]]


def _finish(plot: Figure, panel: panels.Panel, drawn: Sequence[tuple[str, Any]],
            named: bool = True) -> None:
    """The legend above the frame, so that all frames are as wide; the reading under the cursor."""
    from bokeh.core.properties import value
    from bokeh.models import HoverTool
    from bokeh.models.annotations.legends import Legend, LegendItem

    reading = [("t [s]", "@t{0.0}"), (f"{panel.sign} [{ink.typeset(panel.unit)}]", "@y{0.00}")]
    plot.add_tools(HoverTool(renderers=[line for _, line in drawn], line_policy="nearest",
                             tooltips=reading))  # fmt: skip
    if named:
        names = dict.fromkeys(name for name, _ in drawn)
        items = [LegendItem(label=value(name), renderers=[r for n, r in drawn if n == name])
                 for name in names]  # fmt: skip
        plot.add_layout(Legend(
            items=items, orientation="horizontal", click_policy="hide", border_line_color=None,
            label_text_font_size="11px", padding=0, margin=0, spacing=12, ncols=5,
            background_fill_alpha=0.0), "above")  # fmt: skip


ZOOMABLE = Section("trends", "Over time", html=_html)
