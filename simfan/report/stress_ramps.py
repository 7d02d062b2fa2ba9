"""The ramp-limit map: the fastest setpoint ramp that keeps all requirements, from where to where,
and the short table for the control system beside it."""

from collections.abc import Sequence
from textwrap import wrap

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from simfan.report import ink
from simfan.report.stress_sheet import DOTS_PER_INCH, WIDE_IN, head_and_foot
from simfan.report.stress_words import left_out, rounded_down
from simfan.stress_answer import RampLimits, RampRow, stands_for
from simfan.units import System, preferred, significant

MAP_IN = 4.5
"""Height of one map with its table."""
EDGE_IN = 1.15
"""Above and below the maps together."""
SHADES = "cividis"
DARK = 0.4
"""Shades below this share take white letters."""
MOST_NUMBERED = 12
"""Setpoints up to which each cell says its rate."""


Map = tuple[RampLimits, Sequence[RampRow]]
"""A map and its table."""


def picture(title: str, below: str, names: Sequence[str], maps: Sequence[Map], kind: str,
            system: System) -> Figure:
    """One map above the other, in shades that can be compared; `names` of the requirements, `kind`
    of what is held."""
    high = EDGE_IN + MAP_IN * len(maps)
    shades = _shades([limits for limits, _ in maps], kind, system)
    with mpl.rc_context(ink.STYLE):
        figure = Figure(figsize=(WIDE_IN, high), dpi=DOTS_PER_INCH)
        for k, (limits, rows) in enumerate(maps):
            low = (0.65 + MAP_IN * (len(maps) - 1 - k)) / high
            axes = figure.add_axes((0.075, low, 0.5, (MAP_IN - 0.85) / high))
            _cells(axes, limits, kind, system, shades)
            _frame(axes, limits, kind, system)
            words = figure.add_axes((0.615, low, 0.37, (MAP_IN - 0.85) / high))
            _table(words, limits, rows, names, kind, system)
        head_and_foot(figure, title, below)
    return figure


def _shades(maps: Sequence[RampLimits], kind: str, system: System) -> tuple[float, float]:
    """Logarithms of the slowest and the fastest rate of all."""
    every = np.concatenate([rates(limits, kind, system).ravel() for limits in maps])
    seen = np.log(every[np.isfinite(every) & (every > 0.0)])
    return (float(seen.min()), float(seen.max())) if seen.size else (0.0, 0.0)


def rates(limits: RampLimits, kind: str, system: System) -> np.ndarray:
    """(k, k) in the reader's unit per second."""
    return _per_second(limits.rates, kind, system)


def _per_second(rate: np.ndarray | float, kind: str, system: System) -> np.ndarray:
    return np.asarray(ink.shown(rate, kind, system) - ink.shown(0.0, kind, system))


def _cells(axes: Axes, limits: RampLimits, kind: str, system: System,
           shades: tuple[float, float]) -> None:
    """Light where fast ramps hold, dark where only slow ones do, hatched where none does."""
    rate, n = rates(limits, kind, system), limits.setpoints.size
    order = np.argsort(limits.setpoints)
    seen = np.where(rate > 0.0, np.log(np.where(rate > 0.0, rate, 1.0)), np.nan)
    low, high = shades
    shade = (seen - low) / (high - low) if high > low else np.where(np.isnan(seen), seen, 1.0)
    axes.imshow(0.15 + 0.85 * shade[np.ix_(order, order)].T, origin="lower", cmap=SHADES, vmin=0.0,
                vmax=1.0, aspect="auto", interpolation="nearest")
    for column, i in enumerate(order):
        for row, j in enumerate(order):
            _cell(axes, column, row, rate[i, j], bool(limits.free[i, j]), shade[i, j],
                  n <= MOST_NUMBERED)
    axes.grid(False)


def _cell(axes: Axes, column: int, row: int, rate: float, free: bool, shade: float,
          numbered: bool) -> None:
    if column == row:
        axes.add_patch(Rectangle((column - 0.5, row - 0.5), 1.0, 1.0, fc="#EEEEEE", ec="none"))
        return
    if rate == 0.0:
        axes.add_patch(Rectangle((column - 0.5, row - 0.5), 1.0, 1.0, fc="white", hatch="xxxx",
                                 ec=ink.VERMILION, lw=0.0))
        if numbered:
            axes.text(column, row, "none", ha="center", va="center", fontsize=7.5,
                      bbox={"fc": "white", "ec": "none", "pad": 1.0})
        return
    if numbered:
        axes.text(column, row, ("≥ " if free else "") + rounded_down(rate), ha="center",
                  va="center", fontsize=8, color="white" if shade < DARK else ink.BLACK)


def _frame(axes: Axes, limits: RampLimits, kind: str, system: System) -> None:
    unit = ink.typeset(preferred(kind, system))
    labels = [significant(float(v)) for v in np.sort(ink.shown(limits.setpoints, kind, system))]
    axes.set_xticks(range(len(labels)), labels)
    axes.set_yticks(range(len(labels)), labels)
    axes.set_xlabel(f"Setpoint before the ramp [{unit}]")
    axes.set_ylabel(f"Setpoint after the ramp [{unit}]")
    axes.set_title(f"Fastest ramp that keeps all requirements [{unit} per s],\n"
                   f"{stands_for(limits)}", loc="left", fontweight="bold", fontsize=8)
    for side in axes.spines.values():
        side.set_visible(False)
    axes.tick_params(length=0.0)


def _table(axes: Axes, limits: RampLimits, rows: Sequence[RampRow], names: Sequence[str],
           kind: str, system: System) -> None:
    """Rates that serve every move up, every move down, from each setpoint; what a faster one
    breaks."""
    unit = ink.typeset(preferred(kind, system))
    axes.set_axis_off()
    axes.set_title("For the control system", loc="left", fontweight="bold", fontsize=8)
    cells = [[significant(float(ink.shown(r.setpoint, kind, system))),
              _rate(r.up, r.up_free, r.up_kept, kind, system),
              _rate(r.down, r.down_free, r.down_kept, kind, system)]
             for r in rows]
    heads = (f"leaving\n[{unit}]", *(f"{way}, at most\n[{unit} per s]"
                                     for way in ("up", "down")))
    step = min(0.06, 0.4 / (len(cells) + 1))
    for x, head in zip((0.12, 0.5, 0.92), heads, strict=True):
        axes.text(x, 0.985, head, ha="right" if x != 0.12 else "center", va="top", fontsize=7.5)
    axes.plot([0.0, 1.0], [0.875, 0.875], color=ink.BLACK, lw=0.6)
    for k, row in enumerate(cells):
        for x, cell in zip((0.12, 0.5, 0.92), row, strict=True):
            axes.text(x, 0.855 - step * k, cell, ha="center" if x == 0.12 else "right", va="top",
                      fontsize=8)
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(0.0, 1.0)
    axes.text(0.0, 0.8 - step * len(cells), "\n".join(_notes(limits, rows, names)), va="top",
              fontsize=7.5, linespacing=1.5)


def _rate(rate: float | None, free: bool, kept: bool, kind: str, system: System) -> str:
    if rate is None:
        return "–"
    if rate == 0.0:
        return "none holds"
    said = rounded_down(float(_per_second(rate, kind, system)))
    return ("≥ " if free else "") + said + ("" if kept else " *")


def _notes(limits: RampLimits, rows: Sequence[RampRow], names: Sequence[str]) -> list[str]:
    told = [*_counted("What a faster ramp breaks:", limits.breaks[np.isfinite(limits.fastest)],
                      names),
            *_counted("What breaks where none holds:", limits.breaks[limits.none], names)]
    shortest, longest = significant(limits.shortest), significant(limits.longest)
    told += [f"Ramps of {shortest} to {longest} s, limits to "
             f"{significant(100.0 * limits.tolerance)} % of that, {limits.runs} runs."]
    told += [line for words in left_out(limits, names)
             for line in wrap(ink.literal(ink.typeset(words)), 62)]
    if limits.free.any():
        told.append("≥: nothing broke, faster was not run.")
    if limits.bounded.any():
        least = float(limits.slowest[limits.bounded].min())
        moves = int(np.count_nonzero(limits.bounded))
        told.append(f"{_moves(moves)} can be too slow, from {significant(least)} s on.")
    if not all(row.up_kept and row.down_kept for row in rows):
        told.append("* so slow, a move breaks that holds faster: see the map.")
    return told


def _counted(head: str, broken: np.ndarray, names: Sequence[str]) -> list[str]:
    """How many moves each requirement stops, the most first."""
    columns, counts = np.unique(broken[broken >= 0], return_counts=True)
    lines = [f"   {ink.literal(ink.typeset(names[k]))}, {_moves(n)}"
             for n, k in sorted(zip(counts, columns, strict=True), reverse=True)]
    return [head, *lines] if lines else []


def _moves(count: int) -> str:
    return f"{count} {'move' if count == 1 else 'moves'}"
