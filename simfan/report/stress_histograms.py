"""How far the runs stay from each limit: a histogram for each requirement."""

from collections.abc import Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan.report import ink
from simfan.report.map_pens import plain_numbers
from simfan.report.stress_sheet import BROKEN, HOLDS, ROOM, ended, head_and_foot, panels

BINS = 24
FAR = 3.0
"""Distances beyond so many spans from the middle half of the runs are gathered in the last bin."""
ALIKE = 1e-3
"""Where the middle half lies closer together than this, of itself, all runs are in sight."""


def picture(title: str, below: str, names: Sequence[str], distances: np.ndarray) -> Figure:
    """`distances` (n, m) of an even or random sample, not of a search."""
    with mpl.rc_context(ink.STYLE):
        figure, grid = panels(len(names), 1.75)
        for axes, name, column in zip(grid, names, distances.T, strict=True):
            _one(axes, name, 100.0 * column[ended(column)], len(column))
        for axes in grid[-3:]:
            axes.set_xlabel(ROOM)
        for axes in grid[::3]:
            axes.set_ylabel("Runs")
        head_and_foot(figure, title, below)
    return figure


def _one(axes: Axes, name: str, room: np.ndarray, runs: int) -> None:
    """Bins have an edge at the limit, so that no bar holds runs of both sides."""
    axes.set_title(ink.literal(ink.typeset(name)), loc="left", fontweight="bold", fontsize=8,
                   pad=16.0)
    far = 0
    if room.size:
        low, high = in_sight(room)
        edges = bins(low, high)
        seen = np.clip(room, edges[0], edges[-1])
        far = int(np.count_nonzero(seen != room))
        _, _, bars = axes.hist(seen, list(edges), color=HOLDS, edgecolor=ink.BLACK, lw=0.4)
        for bar, left in zip(bars, edges[:-1], strict=True):  # type: ignore[arg-type]
            if left < -1e-9:
                bar.set(facecolor=BROKEN, hatch="////")
        axes.set_xlim(edges[0], edges[-1])
    axes.text(0.0, 1.03, _words(room, runs, far), transform=axes.transAxes, fontsize=7.5)
    axes.axvline(0.0, color=ink.BLACK, lw=1.2)
    axes.grid(axis="x", visible=False)
    axes.set_axisbelow(True)
    axes.locator_params(axis="y", integer=True, nbins=4)
    axes.locator_params(axis="x", nbins=5)
    plain_numbers(axes)


def _words(room: np.ndarray, runs: int, far: int) -> str:
    """`far` runs lie beyond the end bars, which hold them."""
    broken, stopped = int(np.count_nonzero(room < 0.0)), runs - room.size
    told = f"{broken or 'none'} of {runs} broken"
    told += f", {stopped} stopped" if stopped else ""
    return told + (f"; end bars hold {far} farther off" if far else "")


def in_sight(room: np.ndarray) -> tuple[float, float]:
    """Both ends of the axis: the limit is always on it, single far runs are not."""
    low, high = np.percentile(room, (25.0, 75.0))
    narrow = high - low < ALIKE * max(abs(low), abs(high), 1.0)
    span = (float(np.ptp(room)) or max(abs(high), 1.0)) if narrow else FAR * (high - low)
    least, most = max(float(room.min()), low - span), min(float(room.max()), high + span)
    return min(least, 0.0), max(most, 0.0)


def bins(low: float, high: float) -> np.ndarray:
    """Edges of equal bins, one of them at 0, with a bin at least for runs that just hold."""
    wide = (high - low) / BINS or 1.0
    first, last = min(np.floor(low / wide), 0.0), max(np.ceil(high / wide), 1.0)
    return np.asarray(wide * np.arange(first, last + 1.0))
