"""The picture of one strategy: its operating points over the fan's curves, and what it can reach.

Marker shapes tell whether a point stays; hollow ones are beyond a limit.
"""

import re
import textwrap
from collections.abc import Callable, Iterable
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan.operating_map import (
    DYNAMICALLY_UNSTABLE,
    STABLE,
    STATICALLY_UNSTABLE,
    Curve,
    OperatingPoint,
    StrategyMap,
)
from simfan.overview import Overview
from simfan.report import ink, map_pens
from simfan.report.map_words import range_words
from simfan.units import System, preferred, show

Rise = Callable[[OperatingPoint], float]
"""Which pressure of a point is drawn."""
MARKS = {STABLE: ("o", ink.BLUE), STATICALLY_UNSTABLE: ("v", ink.VERMILION),
         DYNAMICALLY_UNSTABLE: ("D", ink.VERMILION)}
EVERY = 3
"""Points drawn: one in so many, so that markers do not touch."""
SIZE_IN, SIZE_WITH_REACH_IN = (8.0, 6.2), (11.69, 6.4)
HEADROOM = 1.22
"""Room above the curves, for the words on the ends."""
ONE_PLACE, ONE_NAME = 0.02, 0.07
"""Shares of the largest flow within which a line is a point, and two names are one."""
BESIDE = 34
"""Letters in a line of the words beside an end."""


def picture(overview: Overview, found: StrategyMap, system: System, flat: bool) -> Figure:
    """The map of one strategy; with the area it can reach beside it, where that is known and the
    volume, whose pressure it is told in, lies behind the fan."""
    reach = found.region is not None and _rises(overview.map.system)
    with mpl.rc_context(ink.STYLE):
        figure = map_pens.sheet(SIZE_WITH_REACH_IN if reach else SIZE_IN)
        wide = 0.425 if reach else 0.87
        _fan(figure.add_axes((0.065 if reach else 0.095, 0.22, wide, 0.67)), overview, found,
             system)
        if reach:
            _reach(figure.add_axes((0.56, 0.22, wide, 0.67)), overview, found, system)
        below = f"{found.name} ({found.method}): {range_words(overview, found, system)}"
        map_pens.head_and_foot(figure, overview.title, ink.typeset(below))
    return figure


class _Paper:
    """Axes in the reader's units that take SI."""

    def __init__(self, axes: Axes, system: System) -> None:
        self.axes, self.system = axes, system

    def xy(self, flow: object, pressure: object) -> tuple[np.ndarray, np.ndarray]:
        """Both coordinates as they are shown."""
        return (np.asarray(ink.shown(np.asarray(flow, dtype=float), "volume flow", self.system)),
                np.asarray(ink.shown(np.asarray(pressure, dtype=float), "pressure", self.system)))

    def line(self, curve: Curve, **how: Any) -> None:
        """A curve as a line."""
        self.axes.plot(*self.xy(curve.flow, curve.pressure), **how)

    def frame(self, flows: Iterable[float], pressures: Iterable[float], name: str) -> None:
        """Axes from zero, or below where something lies there, with their words and legend."""
        q, p = np.fromiter(flows, float), np.fromiter(pressures, float)
        x, y = self.xy([min(0.0, q.min()), 1.03 * q.max()],
                       [min(0.0, 1.1 * p.min()), HEADROOM * p.max()])
        self.axes.set_xlim(*x)
        self.axes.set_ylim(*y)
        map_pens.plain_numbers(self.axes)
        self.axes.set_xlabel(ink.axis("Flow at the fan inlet", "Q",
                                      preferred("volume flow", self.system)))
        self.axes.set_ylabel(ink.axis(name, "Δp", preferred("pressure", self.system)))
        self.axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.11), ncols=2,
                         columnspacing=1.5)


def _fan(axes: Axes, overview: Overview, found: StrategyMap, system: System) -> None:
    paper = _Paper(axes, system)
    _curves(paper, found)
    if _rises(overview.map.system):
        paper.line(overview.map.system, color=ink.GREEN, ls="--", lw=1.2,
                   label="duct and process need, at design")
    _stall(paper, found)
    _points(paper, found, lambda p: p.pressure)
    paper.frame([p.flow for p in found.points] + [q for c in found.curves for q in c.flow],
                [p.pressure for p in found.points] + [p for c in found.curves for p in c.pressure],
                "Fan static pressure rise")
    _ends(paper, found, lambda p: p.pressure)


def _rises(system: Curve) -> bool:
    """With the volume before the fan this curve is the volume's pressure, not the fan's task."""
    return system.pressure[-1] >= system.pressure[0]


def _stall(paper: _Paper, found: StrategyMap) -> None:
    """A path that keeps one setting has a single stall point: its flow is drawn instead."""
    line = found.stall_line
    if line is None:
        return
    how: dict[str, Any] = {"color": ink.VERMILION, "ls": "-.", "lw": 1.2}
    if np.ptp(line.flow) > ONE_PLACE * max(line.flow):
        paper.line(line, label=f"{line.what}, along the path", **how)
    else:
        one = Curve(line.what, (line.flow[0],) * 2, (0.0, max(line.pressure)))
        paper.line(one, label=line.what, **how)


def _curves(paper: _Paper, found: StrategyMap) -> None:
    """Each with its setting near the lower end, where two do not stand on one another."""
    setters = [name for name in found.elements if name != "outlet damper"]
    words = f"fan, {' / '.join(setters)} as marked" if setters else "fan on its motor"
    far = ONE_NAME * max((q for c in found.curves for q in c.flow), default=1.0)
    named: list[float] = []
    for k, curve in enumerate(found.curves):
        paper.line(curve, color=ink.BLACK, lw=1.3 if k == 0 else 0.6, label=None if k else words)
        flow, pressure = _place(curve, k)
        if setters and all(abs(flow - other) > far for other in named):
            named.append(flow)
            x, y = paper.xy(flow, pressure)
            paper.axes.annotate(
                _setting(curve.what), (float(x), float(y)), fontsize=6, ha="center", va="center",
                bbox={"fc": "white", "ec": "none", "pad": 0.6}, zorder=2.5)


def _place(curve: Curve, k: int) -> tuple[float, float]:
    """Where its setting is written; neighbours at different heights."""
    at = max(0, len(curve.flow) - 4 - 2 * (k % 2))
    return curve.flow[at], curve.pressure[at]


def _setting(what: str) -> str:
    """Such as "50.4 / 100 %" of "inlet vanes 50.4 %, speed 100 %"."""
    shares = re.findall(r"([\d.]+) %", what)
    return f"{' / '.join(shares)} %" if shares else what


def _points(paper: _Paper, found: StrategyMap, rise: Rise) -> None:
    path = paper.xy([p.flow for p in found.points], [rise(p) for p in found.points])
    paper.axes.plot(*path, color=ink.BLUE, lw=0.8, zorder=3)
    ends = [p for p in (found.turndown.highest, found.turndown.lowest) if p]
    some = [*found.points[::EVERY], *ends]
    for stability, (shape, colour) in MARKS.items():
        for missed in (False, True):
            here = [p for p in some if p.stability == stability and bool(p.missed) == missed]
            if here:
                words = f"{stability}{', beyond a limit' if missed else ', within the limits'}"
                paper.axes.plot(*paper.xy([p.flow for p in here], [rise(p) for p in here]),
                                ls="none", marker=shape, ms=4.2, mec=colour, mew=0.9, zorder=4,
                                mfc="white" if missed else colour, label=words)
    if found.others:
        paper.axes.plot(*paper.xy([p.flow for p in found.others], [rise(p) for p in found.others]),
                        ls="none", marker="x", ms=3.2, mec=ink.GREY, mew=0.8, zorder=3,
                        label="further solutions at the same outputs")


def _ends(paper: _Paper, found: StrategyMap, rise: Rise) -> None:
    """What ends the range, in words beside its ends."""
    turndown = found.turndown
    for point, why, above in ((turndown.highest, turndown.ended_above_by, True),
                              (turndown.lowest, turndown.ended_below_by, False)):
        if point is not None:
            _end(paper, point, rise(point), why, above)


def _end(paper: _Paper, point: OperatingPoint, rise: float, why: str, above: bool) -> None:
    x, y = paper.xy(point.flow, rise)
    flow = show(point.flow, "volume flow", paper.system)
    words = ink.typeset(f"{'highest' if above else 'lowest'}, {flow}: {why}")
    paper.axes.annotate(
        "\n".join(textwrap.wrap(words, BESIDE)), (float(x), float(y)), fontsize=6.5, zorder=7,
        xytext=(0.985 if above else 0.015, 0.98), textcoords="axes fraction",
        ha="right" if above else "left", va="top",
        bbox={"fc": "white", "ec": "#BBBBBB", "lw": 0.5, "pad": 2.0},
        arrowprops={"arrowstyle": "-", "color": ink.GREY, "lw": 0.6, "shrinkB": 3.0})


def _reach(axes: Axes, overview: Overview, found: StrategyMap, system: System) -> None:
    """The area of flow and volume pressure within the limits, whatever the process."""
    region = found.region
    if region is None:
        return
    paper = _Paper(axes, system)
    low, high = (np.array([np.nan if v is None else v for v in side])
                 for side in (region.lowest, region.highest))
    x, bottom = paper.xy(region.flow, low)
    _, top = paper.xy(region.flow, high)
    axes.fill_between(x, bottom, top, color=ink.SKY, alpha=0.22, lw=0.0)
    axes.plot(x, top, color=ink.BLUE, lw=1.2, label="most within the limits, any process")
    axes.plot(x, bottom, color=ink.BLUE, lw=0.8, ls=":", label="least")
    if region.rated_open:
        rated = np.array([np.nan if v is None else v for v in region.rated_open])
        axes.plot(*paper.xy(region.flow, rated), color=ink.BLACK, lw=0.9, ls=(0, (5, 1, 1, 1)),
                  label="of it at rated speed, all open")
    paper.line(overview.map.system, color=ink.GREEN, ls="--", lw=1.2, label="process, at design")
    _points(paper, found, lambda p: p.volume_pressure)
    known = [v for v in (*region.highest, *region.rated_open) if v is not None]
    pressures = [p.volume_pressure for p in found.points] + known
    paper.frame([*region.flow, *(p.flow for p in found.points)], pressures,
                "Pressure of the volume")
