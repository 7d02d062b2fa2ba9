"""Where in the space a requirement fails: all runs over the two inputs that matter most to it."""

from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan.report import ink
from simfan.report.map_pens import plain_numbers
from simfan.report.stress_sheet import BROKEN, DOTS_PER_INCH, ROOM, ended, head_and_foot
from simfan.report.stress_words import Scale
from simfan.stress_answer import STOPPED, Sensitivity, SmallestChange, Trail, Worst
from simfan.units import significant

SIZE_IN = (8.6, 5.6)
HELD: dict[str, Any] = {"marker": "o", "s": 13, "facecolors": "none", "edgecolors": "#5A8FB0",
                        "linewidths": 0.7}
FAILED: dict[str, Any] = {"marker": "s", "s": 16, "color": BROKEN, "edgecolors": ink.BLACK,
                          "linewidths": 0.4, "zorder": 3}


def picture(title: str, below: str, inputs: Sequence[Scale], trail: Trail, column: int,
            pair: tuple[int, ...], nominal: np.ndarray, worst: Worst, fails: bool,
            change: SmallestChange | None = None) -> Figure:
    """One or two inputs (`pair`); with one its room stands over it. `change` is the smallest;
    `fails` whether the nominal run itself is broken."""
    with mpl.rc_context(ink.STYLE):
        figure = Figure(figsize=SIZE_IN, dpi=DOTS_PER_INCH)
        axes = figure.add_axes((0.09, 0.115, 0.64, 0.76))
        place = _Place(inputs, pair, trail.distances[:, column])
        _runs(axes, place, trail, column)
        if len(pair) > 1:
            _marks(axes, place, nominal, worst, fails, change)
        _frame(axes, place)
        others = len(inputs) - len(pair)
        if others:
            words = "one more input varies" if others == 1 else f"{others} more inputs vary"
            axes.plot([], [], " ", label=f"{words} too")
        axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), borderaxespad=0.0,
                    handletextpad=0.6, labelspacing=0.7)
        head_and_foot(figure, title, below)
    return figure


def most_important(sensitivity: Sensitivity | None, trail: Trail, column: int) -> tuple[int, ...]:
    """The two inputs with the largest total index; without indices, those with whose rank the
    distance's rank goes most."""
    weight = None if sensitivity is None else sensitivity.total
    if weight is None or np.isnan(weight).all():
        weight = _rank_correlation(trail, column)
    return tuple(int(i) for i in np.argsort(-weight, kind="stable")[:2])


def _rank_correlation(trail: Trail, column: int) -> np.ndarray:
    """(d,) its size; 0 where nothing changes, or nothing was run."""
    if not len(trail.points):
        return np.zeros(trail.points.shape[1])
    ranks = np.argsort(np.argsort(np.column_stack([trail.points, trail.distances[:, column]]),
                                  axis=0), axis=0).astype(float)
    ranks -= ranks.mean(axis=0)
    return np.abs(ranks[:, :-1].T @ ranks[:, -1])


class _Place:
    """From points of the cube to the axes."""

    def __init__(self, inputs: Sequence[Scale], pair: tuple[int, ...], distances: np.ndarray
                 ) -> None:
        self.inputs = [inputs[i] for i in pair]
        self.pair, self.distances = pair, distances

    def xy(self, points: np.ndarray, distances: np.ndarray | None = None
           ) -> tuple[np.ndarray, np.ndarray]:
        """(n,) and (n,) in the reader's units."""
        points = np.atleast_2d(points)
        shown = [one.at(points[:, i]) for one, i in zip(self.inputs, self.pair, strict=True)]
        if len(shown) == 1:
            room = self.distances if distances is None else distances
            shown.append(100.0 * np.where(ended(room), room, np.nan))
        return shown[0], shown[1]


def _runs(axes: Axes, place: _Place, trail: Trail, column: int) -> None:
    distances = trail.distances[:, column]
    broken, stopped = (distances < 0.0) & ended(distances), ~ended(distances)
    x, y = place.xy(trail.points)
    for which, words, how in ((~broken & ~stopped, "holds", HELD), (broken, "broken", FAILED)):
        axes.scatter(x[which], y[which], label=f"{words} ({np.count_nonzero(which)} runs)", **how)
    if stopped.any():
        axes.scatter(x[stopped], y[stopped], marker="x", s=18, color=ink.BLACK,
                     label=f"stopped on its numbers ({np.count_nonzero(stopped)})")


def _marks(axes: Axes, place: _Place, nominal: np.ndarray, worst: Worst, fails: bool,
           change: SmallestChange | None) -> None:
    """The worst run, the nominal point, the smallest change from it."""
    axes.plot(*place.xy(worst.point), ls="none", marker="*", ms=13, mfc="#FFE000",
              mec=ink.BLACK, mew=0.8, zorder=6, label=_worst(worst.distance))
    axes.plot(*place.xy(nominal), ls="none", marker="P", ms=8, mfc="white", mec=ink.BLACK, mew=1.0,
              zorder=6, label="nominal, itself broken" if fails else "nominal")
    if change is None:
        return
    (start, begin), (end, stop) = place.xy(nominal), place.xy(change.breaks)
    axes.annotate("", (float(end[0]), float(stop[0])), (float(start[0]), float(begin[0])), zorder=5,
                  arrowprops={"arrowstyle": "-|>", "lw": 1.4, "color": ink.BLACK,
                              "shrinkA": 4.0, "shrinkB": 0.0})
    axes.plot([], [], color=ink.BLACK, lw=1.4, label="smallest change that broke it")


def _worst(distance: float) -> str:
    side = "beyond" if distance < 0.0 else "of room"
    known = distance > STOPPED
    return f"worst run ({significant(abs(100.0 * distance))} % {side})" if known else "worst run"


def _frame(axes: Axes, place: _Place) -> None:
    first = place.inputs[0]
    axes.set_xlabel(ink.literal(ink.typeset(first.words)))
    axes.set_xlim(*_ends(first))
    if len(place.inputs) > 1:
        axes.set_ylabel(ink.literal(ink.typeset(place.inputs[1].words)))
        axes.set_ylim(*_ends(place.inputs[1]))
    else:
        axes.set_ylabel(ROOM)
        axes.axhline(0.0, color=ink.BLACK, lw=1.2)
    plain_numbers(axes)


def _ends(one: Scale) -> tuple[float, float]:
    low, high = float(one.values.min()), float(one.values.max())
    room = 0.03 * (high - low) or 1.0
    return low - room, high + room
