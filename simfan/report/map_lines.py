"""Pictures of an operating map against flow: power, stall margin, gain, positions of elements."""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan.operating_map import StrategyMap
from simfan.overview import Overview
from simfan.report import ink, map_pens
from simfan.units import System, convert, preferred

LEAST_MARGIN = -25.0
"""Stall margins below it [%] are not shown."""
GAIN_ABOVE = 1.25
"""The axis of gain ends at so many times the largest within the limits."""
GAIN_WILD = 4.0
"""Gains so many times that one are left out: near a fold they go through infinity."""
ACROSS = 4
"""Strategies side by side in the picture of positions."""


@dataclass(frozen=True)
class Trace:
    """What is drawn against flow: words for the axis and values of a strategy's points."""

    what: str
    axis: str
    values: Callable[[StrategyMap], np.ndarray]
    finish: Callable[[Axes, Overview, "Trace"], None]


def power(overview: Overview, system: System, flat: bool) -> Figure:
    """Electrical power of every strategy."""
    return _against_flow(overview, system, Trace(
        "Power from the supply over the range", ink.axis("Electrical power", r"P$_\mathrm{el}$",
                                                         "kW"),
        lambda m: 1e-3 * m.column("electrical_power"), _from_zero))


def margin(overview: Overview, system: System, flat: bool) -> Figure:
    """Stall margin of every strategy; a gap where a setting has no stall line."""
    return _against_flow(overview, system, Trace(
        "Stall margin over the range (no line where the setting has no stall line)",
        ink.axis("Stall margin", r"(Q − Q$_\mathrm{stall}$)/Q", "%"),
        lambda m: 100.0 * m.column("stall_margin"), _margin))


def gain(overview: Overview, system: System, flat: bool) -> Figure:
    """Process gain of every strategy: what one percent of output does to what is held."""
    kind = overview.map.held_kind
    unit = preferred(kind, system)
    scale = 0.01 * (convert(1.0, kind, unit) - convert(0.0, kind, unit))
    most = GAIN_WILD * _largest_gain(overview)

    def values(found: StrategyMap) -> np.ndarray:
        known = found.column("gain")
        return np.where(np.abs(known) <= most, scale * known, np.nan)

    return _against_flow(overview, system, Trace(
        "Process gain over the range: the less it changes, the better one tuning serves",
        ink.axis("Process gain", "K", f"{unit} per % output"), values, _gain))


def _largest_gain(overview: Overview) -> float:
    """Within the limits [held unit]; infinite where none is known there."""
    known = [abs(p.gain) for m in overview.map.strategies for p in m.points
             if p.gain is not None and not p.missed]
    return max(known, default=np.inf)


def _against_flow(overview: Overview, system: System, trace: Trace) -> Figure:
    with mpl.rc_context(ink.STYLE):
        figure = map_pens.sheet()
        axes = figure.add_axes((0.085, 0.12, 0.67, 0.75))
        drawn = map_pens.pens(overview.map.strategies)
        for pen, found in zip(drawn, overview.map.strategies, strict=True):
            map_pens.line(axes, pen, found, _flow(found, system), trace.values(found))
        axes.set_xlabel(_flow_axis(system))
        axes.set_ylabel(trace.axis)
        axes.set_xlim(left=0.0)
        map_pens.plain_numbers(axes)
        trace.finish(axes, overview, trace)
        seen = [map_pens.letters(axes, pen, _flow(found, system), trace.values(found))
                for pen, found in zip(drawn, overview.map.strategies, strict=True)]
        if not any(seen):
            axes.text(0.5, 0.5, "no point lies in this range", transform=axes.transAxes,
                      ha="center", color=ink.GREY)
        map_pens.legend(axes, drawn)
        map_pens.head_and_foot(figure, overview.title, trace.what)
    return figure


def _flow(found: StrategyMap, system: System) -> np.ndarray:
    return np.asarray(ink.shown(found.column("flow"), "volume flow", system))


def _flow_axis(system: System) -> str:
    return ink.axis("Flow at the fan inlet", "Q", preferred("volume flow", system))


def _from_zero(axes: Axes, overview: Overview, trace: Trace) -> None:
    axes.set_ylim(bottom=0.0)


def _margin(axes: Axes, overview: Overview, trace: Trace) -> None:
    known = np.concatenate([trace.values(m) for m in overview.map.strategies])
    if np.isfinite(known).any():
        low, high = float(np.nanmin(known)), float(np.nanmax(known))
        axes.set_ylim(max(LEAST_MARGIN, min(0.0, low)), 1.15 * max(high, 10.0))
    least = 100.0 * (overview.criteria.stall_margin or 0.0)
    axes.axhline(least, color=ink.GREY, lw=1.0, ls=(0, (1, 2)))
    words = f"criterion, {least:.3g} %" if least else "stall line"
    axes.annotate(words, (0.995, least), xycoords=("axes fraction", "data"), ha="right",
                  va="bottom", fontsize=6.5, xytext=(0, 1), textcoords="offset points")


def _gain(axes: Axes, overview: Overview, trace: Trace) -> None:
    """From zero, whichever way the gain acts, to a little beyond those within the limits."""
    values = np.concatenate([np.where(map_pens.within(m), trace.values(m), np.nan)
                             for m in overview.map.strategies])
    if np.isfinite(values).any():
        axes.set_ylim(min(0.0, GAIN_ABOVE * float(np.nanmin(values))),
                      max(0.0, GAIN_ABOVE * float(np.nanmax(values))))
    axes.axhline(0.0, color=ink.GREY, lw=0.7)


def positions(overview: Overview, system: System, flat: bool) -> Figure:
    """Where the elements of each strategy stand, a panel for each."""
    maps = overview.map.strategies
    across = min(ACROSS, len(maps))
    down = ceil(len(maps) / across)
    with mpl.rc_context(ink.STYLE):
        figure = map_pens.sheet((max(map_pens.SLIGHT_IN[0], 2.6 * across),
                                 1.1 + 2.1 * down))
        height = figure.get_figheight()
        grid = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False)
        figure.subplots_adjust(left=0.6 / figure.get_figwidth(), right=0.98, hspace=0.28,
                               top=1.0 - 0.85 / height, bottom=0.62 / height, wspace=0.12)
        for k, axes in enumerate(grid.flat):
            axes.set_axis_on() if k < len(maps) else axes.set_axis_off()
            if k < len(maps):
                _panel(axes, maps[k], system, last=k + across >= len(maps))
        figure.supylabel(ink.axis("Element", "y", "%"), x=0.01, fontsize=7.5)
        map_pens.head_and_foot(figure, overview.title, "Where the elements stand over the range "
                               "(thick: within the limits; speed in % of rated)")
    return figure


def _panel(axes: Axes, found: StrategyMap, system: System, last: bool) -> None:
    flow, good = _flow(found, system), map_pens.within(found)
    for k, name in enumerate(found.elements):
        colour, dashes = ink.ELEMENT_LINES[k % len(ink.ELEMENT_LINES)]
        stands = 100.0 * np.array([p.positions[name] for p in found.points])
        axes.plot(flow, stands, color=colour, ls=dashes, lw=map_pens.BEYOND)
        axes.plot(flow, np.where(good, stands, np.nan), color=colour, ls=dashes,
                  lw=map_pens.WITHIN, label=name)
    axes.set_title(found.name, fontsize=7.5, loc="left")
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)
    map_pens.plain_numbers(axes)
    axes.legend(loc="best", fontsize=6.5)
    axes.tick_params(labelbottom=last)
    if last:
        axes.set_xlabel(_flow_axis(system))
