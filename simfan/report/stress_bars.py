"""Which inputs matter to which requirement: Sobol indices as bars with their bands."""

from collections.abc import Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan.report import ink
from simfan.report.stress_sheet import DOTS_PER_INCH, WIDE_IN, head_and_foot
from simfan.stress_answer import Sensitivity

ACROSS = 3
MOST_INPUTS = 8
"""Those that matter most to any requirement; the rest are counted."""
ROW_IN = 0.36


def picture(title: str, below: str, names: Sequence[str], inputs: Sequence[str],
            found: Sequence[Sensitivity]) -> Figure | None:
    """A panel for each requirement whose distance changes; None where none does."""
    moving = [s for s in found if not np.isnan(s.total).all()]
    if not moving:
        return None
    order = np.argsort(-np.max([s.total for s in moving], axis=0), kind="stable")[:MOST_INPUTS]
    with mpl.rc_context(ink.STYLE):
        figure, grid = _sheet(len(moving), len(order))
        for place, (axes, one) in enumerate(zip(grid, moving, strict=True)):
            _bars(axes, one, order)
            axes.set_title(ink.literal(names[one.requirement]), loc="left", fontweight="bold",
                           fontsize=8)
            axes.set_yticks(range(len(order)), [ink.literal(inputs[i]) for i in order]
                            if place % ACROSS == 0 else [""] * len(order))
        for axes in grid[-ACROSS:]:
            axes.set_xlabel("Share of the variance of the room [%]")
        handles, labels = grid[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="upper right", ncols=3, bbox_to_anchor=(0.99, 1.0 - 0.22
                      / figure.get_figheight()))
        left_out = len(inputs) - len(order)
        head_and_foot(figure, title, below + (f"; {left_out} inputs that matter less left out"
                                              if left_out else ""))
    return figure


def _sheet(panels: int, inputs: int) -> tuple[Figure, list[Axes]]:
    rows = -(-panels // ACROSS)
    across = min(panels, ACROSS)
    high = 1.25 + rows * (0.75 + ROW_IN * inputs)
    figure = Figure(figsize=(WIDE_IN, high), dpi=DOTS_PER_INCH)
    grid = figure.subplots(rows, across, squeeze=False)
    figure.subplots_adjust(left=0.2, right=0.98, top=1.0 - 0.9 / high, bottom=0.65 / high,
                           wspace=0.1, hspace=0.75 / (ROW_IN * inputs))
    flat = list(grid.ravel())
    for spare in flat[panels:]:
        spare.remove()
    return figure, flat[:panels]


def _bars(axes: Axes, one: Sensitivity, order: np.ndarray) -> None:
    """Two bars to an input, each with its band."""
    rows = np.arange(len(order))
    band = f"band of {100.0 * one.confidence:g} %"
    for side, values, bands, how, words in (
            (-0.18, one.first, one.first_band, {"color": ink.BLUE}, "alone"),
            (0.18, one.total, one.total_band, {"color": "white", "hatch": "////"},
             "with all it does together with others")):
        axes.barh(rows + side, 100.0 * values[order].clip(0.0, 1.0), 0.34, edgecolor=ink.BLACK,
                  lw=0.6, label=words, **how)  # type: ignore[arg-type]
        axes.hlines(rows + side, *(100.0 * bands[order].clip(0.0, 1.0).T), color=ink.ORANGE, lw=2.2,
                    zorder=3, label=band if side > 0.0 else "")
    axes.set_xlim(0.0, 102.0)
    axes.invert_yaxis()
    axes.grid(axis="y", visible=False)
    axes.set_axisbelow(True)
