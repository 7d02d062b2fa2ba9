"""How the strategies of an operating map are told apart in one picture: by a letter that stands on
the line, so that colours may be seen or not; by dashes and colours beside it."""

from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_uppercase
from typing import Any, Protocol

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from simfan import __version__
from simfan.operating_map import StrategyMap
from simfan.report import ink

DASHES: tuple[Any, ...] = ("-", (0, (6, 1.5)), (0, (1.2, 1)), (0, (6, 1.5, 1.2, 1.5)), (0, (3, 1)),
                           (0, (6, 1, 1, 1, 1, 1)), (0, (9, 2)), (0, (2, 2)))
COLOURS = (ink.BLACK, ink.VERMILION, ink.BLUE, ink.GREEN, ink.ORANGE, ink.PURPLE, ink.SKY, ink.GREY)
WITHIN, BEYOND = 1.7, 0.7
"""Widths of a line within the limits and beyond one."""
LETTERS_ON_LINE = 2
LONG = 1e4
"""From here on numbers on an axis take room."""
SLIGHT_IN, DOTS_PER_INCH = (8.6, 5.2), 170
CAUTION = ("Steady points of a model: the maker's curve, local codes and licensed practice rule.")


@dataclass(frozen=True)
class Pen:
    """One strategy's letter and line."""

    letter: str
    name: str
    how: dict[str, Any]
    share: float
    """Where along the axis its letters stand, 0 to 1: no two strategies share a place."""


class Named(Protocol):
    """What was found of one strategy."""

    @property
    def name(self) -> str:
        """The strategy's name."""


def pens(maps: Sequence[Named]) -> list[Pen]:
    """A pen for each; beyond as many as there are letters they are counted."""
    n = len(maps)
    return [Pen(ascii_uppercase[k] if n <= len(ascii_uppercase) else str(k + 1), m.name,
                {"color": COLOURS[k % len(COLOURS)], "ls": DASHES[k % len(DASHES)]},
                (k + 0.5) / n) for k, m in enumerate(maps)]


def line(axes: Axes, pen: Pen, found: StrategyMap, x: np.ndarray, y: np.ndarray) -> None:
    """One strategy's line: thick within the limits, thin beyond, with its letter on it."""
    good = within(found)
    axes.plot(x, y, lw=BEYOND, **pen.how)
    axes.plot(x, np.where(good, y, np.nan), lw=WITHIN, **pen.how)


def letters(axes: Axes, pen: Pen, x: np.ndarray, y: np.ndarray) -> bool:
    """The strategy's letter, where its line is in sight, and whether it is; for axes that have
    their limits."""
    low, high = axes.get_ylim()
    left, right = axes.get_xlim()
    seen = np.flatnonzero(np.isfinite(y) & (y > low) & (y < high))
    if not seen.size:
        return False
    for k in range(LETTERS_ON_LINE):
        wanted = left + (right - left) * (k + pen.share) / LETTERS_ON_LINE
        at = seen[np.argmin(np.abs(x[seen] - wanted))]
        axes.annotate(
            pen.letter, (float(x[at]), float(y[at])), ha="center", va="center", fontsize=6.5,
            fontweight="bold", color=ink.BLACK, zorder=6,
            bbox={"boxstyle": "circle,pad=0.18", "fc": "white", "ec": pen.how["color"], "lw": 0.8})
    return True


def within(found: StrategyMap) -> np.ndarray:
    """(n_points,) whether each point is within all limits."""
    return np.array([not p.missed for p in found.points], dtype=bool)


def legend(axes: Axes, drawn: Sequence[Pen]) -> None:
    """Letters and names beside the axes."""
    handles = [Line2D([], [], lw=WITHIN, **pen.how) for pen in drawn]
    handles += [Line2D([], [], lw=BEYOND, color=ink.BLACK)]
    names = [f"{pen.letter}  {pen.name}" for pen in drawn] + ["thin: beyond a limit"]
    axes.legend(handles, names, loc="upper left", bbox_to_anchor=(1.01, 1.0), borderaxespad=0.0)


def plain_numbers(axes: Axes) -> None:
    """No powers of ten beside an axis, and no more numbers than fit where they are long."""
    axes.ticklabel_format(style="plain", useOffset=False)
    if axes.get_xlim()[1] >= LONG:
        axes.locator_params(axis="x", nbins=5)


def sheet(size: tuple[float, float] = SLIGHT_IN) -> Figure:
    """An empty figure; to be made in ink.STYLE."""
    return Figure(figsize=size, dpi=DOTS_PER_INCH)


def head_and_foot(figure: Figure, title: str, below: str) -> None:
    """The scenario's title, what the picture shows, and the caution."""
    height = figure.get_figheight()
    figure.text(0.015, 1.0 - 0.1 / height, ink.literal(title), va="top", fontsize=10.5,
                fontweight="bold")
    figure.text(0.015, 1.0 - 0.34 / height, below, va="top", fontsize=8.5)
    figure.text(0.015, 0.08 / height, f"simfan {__version__}. {CAUTION}", fontsize=6.5,
                color="#444444")
