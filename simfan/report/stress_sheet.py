"""What the pictures of a search share: sheet, head and foot."""

from math import ceil

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan import __version__
from simfan.report import ink
from simfan.stress_answer import STOPPED

WIDE_IN, DOTS_PER_INCH = 10.0, 170
ACROSS = 3
"""Panels beside one another."""
CAUTION = ("Runs of a model: none found is not none there. The maker's data, local codes and "
           "licensed practice rule.")
HOLDS, BROKEN = ink.SKY, ink.VERMILION
ROOM = "Room to the limit [% of its scale]"


def panels(count: int, high_in: float, left: float = 0.06, wspace: float = 0.2,
           hspace: float = 0.75) -> tuple[Figure, list[Axes]]:
    """A sheet with so many panels, ACROSS to a row; to be made in ink.STYLE."""
    rows, across = ceil(count / ACROSS), min(count, ACROSS)
    high = 1.15 + high_in * rows
    figure = Figure(figsize=(WIDE_IN, high), dpi=DOTS_PER_INCH)
    grid = figure.subplots(rows, across, squeeze=False)
    figure.subplots_adjust(left=left, right=0.985, top=1.0 - 0.95 / high, bottom=0.65 / high,
                           wspace=wspace, hspace=hspace)
    flat = list(grid.ravel())
    for spare in flat[count:]:
        spare.remove()
    return figure, flat[:count]


def head_and_foot(figure: Figure, title: str, below: str) -> None:
    """The scenario's title, what the picture shows, and the caution."""
    height = figure.get_figheight()
    figure.text(0.015, 1.0 - 0.1 / height, ink.literal(title), va="top", fontsize=10.5,
                fontweight="bold")
    figure.text(0.015, 1.0 - 0.34 / height, ink.literal(ink.typeset(below)), va="top",
                fontsize=8.5)
    figure.text(0.015, 0.08 / height, f"simfan {__version__}. {CAUTION}", fontsize=6.5,
                color="#444444")


def ended(distances: np.ndarray) -> np.ndarray:
    """(n,) which runs came to their end."""
    return np.asarray(distances > STOPPED)
