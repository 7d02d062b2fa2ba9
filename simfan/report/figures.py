"""One picture for each strategy: trends on the left, fan map and words on the right.

Drawn with matplotlib's `Figure` alone, so no window system is touched; the same run gives the
same bytes of SVG.
"""

import textwrap
from collections.abc import Sequence

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.gridspec import SubplotSpec

from simfan import __version__, units
from simfan.history import History
from simfan.report import event_band, fanmap, ink, trends
from simfan.report.marks import Event, events, left_of_stall, resting, spans
from simfan.report.panels import Panel, panels, stall_words

A4_LANDSCAPE_IN = (11.69, 8.27)
DOTS_PER_INCH = 170
MOST_EVENTS_LISTED = 8
VERDICT_WIDTH = 165
NOTES_WIDTH = 69
BOTTOM = -0.1
"""How far down notes may go, of the axes they stand on."""
LINE_SPACING = 1.35
LINE_SHARE = 0.066
"""Height of a line of notes, of the axes they stand on."""
Note = tuple[str, Sequence[str]]
"""A title and its lines."""
CAUTION = "A simulation: the maker's curve, local codes and licensed practice rule."


def picture(
    run: History, verdict: str = "", notes: Sequence[Note] = (), system: units.System = "si",
    flat: bool = False,
) -> Figure:  # fmt: skip
    """The picture of one run: `verdict` under the title, `notes` below the map.

    With `flat` the path on the map is a bitmap, for runs whose lines would make a huge SVG.
    """
    with mpl.rc_context(ink.STYLE):
        figure = Figure(figsize=A4_LANDSCAPE_IN, dpi=DOTS_PER_INCH)
        columns = figure.add_gridspec(
            1, 2, width_ratios=(1.25, 1.0), left=0.065, right=0.975, top=0.86, bottom=0.085,
            wspace=0.17,
        )  # fmt: skip
        right = columns[1].subgridspec(2, 1, height_ratios=(1.75, 1.0), hspace=0.34)
        numbered = events(run, system)
        out = spans(run.time, left_of_stall(run))
        shown = panels(run, system)
        axes = stack(figure, columns[0], shown, run)
        trends.draw(axes, run, shown, numbered, out, flat)
        points = resting(run, numbered)
        fanmap.draw(figure.add_subplot(right[0]), run, points, system, flat)
        _words(figure.add_subplot(right[1]), numbered, _hatching(run, bool(out)) + list(notes))
        _head_and_foot(figure, run, verdict, system)
        figure.align_ylabels(axes)
    return figure


def stack(figure: Figure, place: SubplotSpec, shown: Sequence[Panel],
          run: History | None = None) -> list[Axes]:
    """Axes over one another that share their time axis; above them what happened, where the run has
    procedures."""
    band = [event_band.HEIGHT] if run and event_band.wanted(run) else []
    heights = [*band, *(p.height for p in shown)]
    rows = place.subgridspec(len(heights), 1, height_ratios=heights, hspace=0.3)
    top = figure.add_subplot(rows[len(band)])
    if run and band:
        event_band.draw(figure.add_subplot(rows[0], sharex=top), run)
    return [top, *(figure.add_subplot(rows[i], sharex=top)
                   for i in range(len(band) + 1, len(heights)))]


def _hatching(run: History, out: bool) -> list[Note]:
    return [("Hatched", [f"left of the {stall_words(run)}"])] if out else []


def _words(axes: Axes, numbered: Sequence[Event], notes: Sequence[Note]) -> None:
    """Events by number, then the notes, from the top of the axes down."""
    axes.set_axis_off()
    listed = [f"{e.mark:>2}  {e.at_s:g} s: {e.words}" for e in numbered[:MOST_EVENTS_LISTED]]
    if len(numbered) > MOST_EVENTS_LISTED:
        listed.append(f"and {len(numbered) - MOST_EVENTS_LISTED} more, in the run's log")
    down = 0.93
    for title, entries in [("Events", listed), *notes]:
        lines = _wrapped(entries)
        room = int((down - BOTTOM) / LINE_SHARE)
        if not lines or room < 1:
            continue
        if len(lines) > room:
            lines = [*lines[: room - 1], "… more in summary.txt"]
        axes.text(0.0, down, title, va="top", fontsize=7, fontweight="bold")
        axes.text(0.2, down, "\n".join(lines), va="top", fontsize=7, linespacing=LINE_SPACING)
        down -= LINE_SHARE * (len(lines) + 0.4)


def _wrapped(lines: Sequence[str]) -> list[str]:
    wrap = textwrap.TextWrapper(NOTES_WIDTH, subsequent_indent="   ").wrap
    return [part for line in lines for part in wrap(ink.literal(ink.typeset(line)))]


def _head_and_foot(figure: Figure, run: History, verdict: str, system: units.System) -> None:
    facts = run.facts
    title, name, words = map(ink.literal, (facts.title, f"{facts.strategy} ({facts.method})",
                                           ink.typeset(verdict)))
    figure.text(0.015, 0.975, title, va="top", fontsize=11, fontweight="bold")
    figure.text(0.015, 0.948, name, va="top", fontsize=9)
    told = textwrap.wrap(words, VERDICT_WIDTH, max_lines=2, placeholder=" …")
    figure.text(0.015, 0.928, "\n".join(told), va="top", fontsize=8)
    foot = (f"simfan {__version__}, step {units.significant(1e3 * run.audit.step_s)} ms, "
            f"{fanmap.density_words(run, system)}. {CAUTION}")  # fmt: skip
    figure.text(0.015, 0.012, foot, fontsize=6.5, color="#444444")
