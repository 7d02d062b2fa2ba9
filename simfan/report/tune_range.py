"""One strategy's loop at every point of the range: |S| with the line of the target, the Nyquist
curve with the target's circle, and small setpoint steps; as given above, as tuned below."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Colormap, LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from simfan.loop_answer import LoopAnswer, LoopCurves, LoopTuning, StrategyLoop
from simfan.report import ink, map_pens
from simfan.report.figures import A4_LANDSCAPE_IN
from simfan.report.map_rows import number
from simfan.report.tune_process import flows
from simfan.units import System, preferred, show, significant

MOST_S = 4.0
"""|S| is shown up to here at most."""
NYQUIST = (-2.1, 0.9, -2.1, 0.9)
"""Left, right, bottom, top of the Nyquist curve."""
SHADES: Colormap = LinearSegmentedColormap.from_list("flow", ["#9ecae1", "#4292c6", "#08306b"])
"""From low to high flow: light to dark, so that a grey print can be read."""
TARGET: dict[str, Any] = {"color": ink.VERMILION, "ls": (0, (5, 2)), "lw": 1.3}


@dataclass(frozen=True)
class Row:
    """What stands in a row of three panels."""

    title: str
    margins: str
    sensitivity: float | None
    curves: LoopCurves


def picture(answer: LoopAnswer, found: StrategyLoop, system: System) -> Figure:
    """Rows: the given tuning and the recommended one, those that exist."""
    best = found.recommended
    return sheet(answer, found, [_row_of(t) for t in found.tunings
                                 if t.curves and (t is found.tunings[0] or t is best)],
                 "small moves, as the scans see it", system)


def ways(answer: LoopAnswer, found: StrategyLoop, system: System) -> Figure:
    """Rows: one tuning for the whole range, and what was found beside it."""
    best = found.recommended
    rows = [_row_of(best)] if best and best.curves else []
    rows += [Row(w.name, f"gain of the loop, largest/smallest: {number(w.before.gain_ratio)} → "
                 f"{number(w.after.gain_ratio)}", w.after.sensitivity, w.curves)
             for w in found.ways if w.curves]
    return sheet(answer, found, rows, "one tuning, and ways beside it", system)


def _row_of(t: LoopTuning) -> Row:
    assert t.curves is not None
    derivative = f", Td {number(t.derivative)} s" if t.derivative else ""
    margins = [f"{words} {number(value)}{unit}" for words, value, unit in (
        ("gain margin", t.gain_margin, ""),
        ("phase margin", _degrees(t.phase_margin), "°")) if value is not None]
    return Row(f"{t.name}: Kc {number(t.gain)}, Ti {number(t.reset)} s{derivative}",
               ", ".join(margins), t.sensitivity, t.curves)


def sheet(answer: LoopAnswer, found: StrategyLoop, rows: Sequence[Row], what: str, system: System
          ) -> Figure:
    """Each row over its points, from light at low flow to dark at high flow."""
    shade = Normalize(*_ends(flows(found, system)))
    with mpl.rc_context(ink.STYLE):
        wide, high = A4_LANDSCAPE_IN
        high = 1.1 + 3.6 * len(rows)
        figure = map_pens.sheet((wide, high))
        grid = figure.subplots(len(rows), 3, squeeze=False, width_ratios=(1.0, 0.92, 1.0))
        figure.subplots_adjust(left=0.055, right=0.915, top=1.0 - 0.95 / high, bottom=0.62 / high,
                               hspace=0.36, wspace=0.22)
        for line, row in zip(grid, rows, strict=True):
            _row(line, answer, found, row, shade, system)
        _share_limits(grid)
        bar = figure.colorbar(ScalarMappable(shade, SHADES), ax=None,
                              cax=figure.add_axes((0.935, 0.62 / high, 0.012,
                                                   1.0 - 1.57 / high)))
        bar.set_label(ink.axis("Flow at the fan inlet", "Q", preferred("volume flow", system)))
        map_pens.head_and_foot(figure, answer.title, ink.literal(
            f"{found.name} ({found.method}), {found.tag}: the loop at "
            f"{sum(p.stable for p in found.points)} points from "
            f"{show(answer.low, answer.held_kind, system)} to "
            f"{show(answer.high, answer.held_kind, system)}; {what}"))
    return figure


def _ends(flow: np.ndarray) -> tuple[float, float]:
    low, high = float(flow.min()), float(flow.max())
    return low, max(high, low + 1e-6)


def _row(line: np.ndarray, answer: LoopAnswer, found: StrategyLoop, row: Row, shade: Normalize,
         system: System) -> None:
    colours = [SHADES(shade(q)) for q in flows(found, system)]
    _sensitivity(line[0], answer, found, row, colours, system)
    _nyquist(line[1], answer, found, row.curves, colours)
    _steps(line[2], row.curves, colours)
    line[0].set_title(row.title, loc="left", fontweight="bold")
    line[1].set_title(row.margins, loc="left", fontsize=7.5)
    line[2].set_title(f"Small setpoint steps, at {len(row.curves.steps)} of the points",
                      loc="left", fontsize=7.5)


def _degrees(angle: float | None) -> float | None:
    return None if angle is None else float(np.degrees(angle))


def _stable(found: StrategyLoop) -> list[int]:
    return [k for k, p in enumerate(found.points) if p.stable]


def _sensitivity(axes: Axes, answer: LoopAnswer, found: StrategyLoop, row: Row, colours: list,
                 system: System) -> None:
    omega, stable = np.asarray(row.curves.omega), _stable(found)
    seen = {k: np.abs(1.0 / (1.0 + np.asarray(row.curves.loop[k]))) for k in stable}
    worst = max(stable, key=lambda k: float(seen[k].max()), default=None)
    for k in stable:
        axes.plot(omega, seen[k], lw=1.4 if k == worst else 0.8, zorder=4 if k == worst else 2,
                  color=ink.BLACK if k == worst else colours[k])
    axes.axhline(answer.target, **TARGET)
    axes.text(omega[0] * 1.15, answer.target + 0.03, f"target Ms {significant(answer.target)}",
              color=ink.VERMILION, fontsize=7, va="bottom")
    axes.axhline(1.0, color=ink.GREY, lw=0.6)
    axes.set_xscale("log")
    axes.set_xlim(omega[0], omega[-1])
    axes.set_ylim(0.0, min(MOST_S, max(1.15 * answer.target, 1.1 * (row.sensitivity or MOST_S))))
    axes.set_xlabel("Frequency ω [rad/s], up to half the scan's")
    axes.set_ylabel("Sensitivity |S|")
    words = "unstable at a point of the range"
    if row.sensitivity is not None and worst is not None:
        words = (f"black: Ms {number(row.sensitivity)} at "
                 f"{show(found.points[worst].held, answer.held_kind, system)}")
    axes.text(0.98, 0.98, words, transform=axes.transAxes, ha="right", va="top", fontsize=7.5)


def _nyquist(axes: Axes, answer: LoopAnswer, found: StrategyLoop, curves: LoopCurves,
             colours: list) -> None:
    for k in _stable(found):
        loop = np.asarray(curves.loop[k])
        axes.plot(loop.real, loop.imag, color=colours[k], lw=0.8)
    axes.add_patch(Circle((0.0, 0.0), 1.0, fill=False, ec=ink.GREY, lw=0.7, ls=":"))
    axes.add_patch(Circle((-1.0, 0.0), 1.0 / answer.target, fill=False,
                          ec=TARGET["color"], ls=TARGET["ls"], lw=TARGET["lw"]))
    axes.plot([-1.0], [0.0], "+", color=ink.BLACK, ms=7, mew=1.2)
    axes.text(-1.0, 0.42 / answer.target, f"|S| > {significant(answer.target)}",
              color=ink.VERMILION, fontsize=7, ha="center", va="center")
    left, right, bottom, top = NYQUIST
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    axes.axhline(0.0, color=ink.GREY, lw=0.6)
    axes.axvline(0.0, color=ink.GREY, lw=0.6)
    axes.set_xlabel("Re L")
    axes.set_ylabel("Im L", labelpad=1)


def _steps(axes: Axes, curves: LoopCurves, colours: list) -> None:
    missing = 0
    for k, answer in zip(curves.steps_at, curves.steps, strict=True):
        if answer is None:
            missing += 1
            continue
        axes.plot(curves.time, answer, color=colours[k], lw=1.0)
    axes.axhline(1.0, color=ink.GREY, lw=0.6)
    if missing:
        axes.text(0.98, 0.04, f"{missing} of {len(curves.steps)} unstable: not drawn",
                  transform=axes.transAxes, ha="right", fontsize=7.5)
    axes.set_xlim(0.0, curves.time[-1])
    axes.set_xlabel("Time after the step t [s]")
    axes.set_ylabel("Reading, of the step")


def _share_limits(grid: np.ndarray) -> None:
    """Rows are compared: the same axis of |S| and of the steps in both."""
    for column, least in ((0, 1.5), (2, 1.2)):
        top = max(max(axes.get_ylim()[1] for axes in grid[:, column]), least)
        for axes in grid[:, column]:
            axes.set_ylim(0.0, min(top, MOST_S))
