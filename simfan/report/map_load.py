"""The picture of a year: how many hours stand in each bin of the load profile, and the energy that
each strategy takes for them."""

from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from simfan.metrics.year import YearBin
from simfan.overview import Overview
from simfan.report import ink, map_pens
from simfan.report.map_pens import Pen
from simfan.units import System, convert, preferred, significant

SHARE_OF_BIN = 0.84
"""Of a bin's width, that its bars take together."""
SIZE_IN = (9.6, 5.6)


@dataclass(frozen=True)
class Bar:
    """What one strategy takes in one bin."""

    kwh: float | None
    """None where it cannot serve the bin."""
    missed: bool
    """Beyond a limit there."""


def of_year(overview: Overview, system: System, flat: bool) -> Figure:
    """The picture of the years of an overview."""
    kind = overview.map.held_kind
    years = [overview.years[m.name] for m in overview.map.strategies]
    names = [_bin_words(b, kind, system) for b in years[0].bins]
    energy = [(pen, [Bar(b.electrical_kwh, b.hours_out_of_criteria > 0.0) for b in year.bins])
              for pen, year in zip(map_pens.pens(overview.map.strategies), years, strict=True)]
    axis = ink.axis("Demand", "", preferred(kind, system)).replace("  ", " ")
    return picture(overview.title, names, axis, [b.hours for b in years[0].bins], energy)


def _bin_words(b: YearBin, kind: str, system: System) -> str:
    unit = preferred(kind, system)
    low, high = (significant(convert(v, kind, unit)) for v in (b.low, b.high))
    return low if b.low == b.high else f"{low}\nto {high}"


def picture(title: str, bins: Sequence[str], axis: str, hours: Sequence[float],
            energy: Sequence[tuple[Pen, Sequence[Bar]]]) -> Figure:
    """Bins by name from left to right; `energy` has a bar of each strategy for each bin."""
    with mpl.rc_context(ink.STYLE):
        figure = map_pens.sheet(SIZE_IN)
        top = figure.add_axes((0.085, 0.68, 0.68, 0.2))
        low = figure.add_axes((0.085, 0.13, 0.68, 0.48), sharex=top)
        _hours(top, hours)
        _energy(low, energy)
        low.set_xticks(range(len(bins)), bins)
        low.set_xlabel(axis)
        top.tick_params(labelbottom=False)
        _legend(low, [pen for pen, _ in energy])
        map_pens.head_and_foot(figure, title, "Load profile of a year, and the energy of each bin")
    return figure


def _hours(axes: Axes, hours: Sequence[float]) -> None:
    axes.bar(range(len(hours)), hours, width=SHARE_OF_BIN, color="#C8C8C8", edgecolor=ink.GREY)
    axes.set_ylabel(ink.axis("Time", "t", "h/a"))
    axes.set_axisbelow(True)
    axes.grid(axis="x", visible=False)
    axes.margins(x=0.02)


def _energy(axes: Axes, energy: Sequence[tuple[Pen, Sequence[Bar]]]) -> None:
    wide = SHARE_OF_BIN / max(1, len(energy))
    for k, (pen, bars) in enumerate(energy):
        x = np.arange(len(bars)) - 0.5 * SHARE_OF_BIN + (k + 0.5) * wide
        for at, bar in zip(x, bars, strict=True):
            _bar(axes, pen, float(at), wide, bar)
    axes.set_ylabel(ink.axis("Energy from the supply", r"E$_\mathrm{el}$", "MWh/a"))
    axes.set_axisbelow(True)
    axes.grid(axis="x", visible=False)
    axes.margins(y=0.1)
    axes.set_ylim(bottom=0.0)


def _bar(axes: Axes, pen: Pen, at: float, wide: float, bar: Bar) -> None:
    """Hollow beyond a limit; the letter alone, struck out, where the bin cannot be served."""
    height = 1e-3 * bar.kwh if bar.kwh is not None else 0.0
    colour = pen.how["color"]
    if bar.kwh is not None:
        axes.bar(at, height, width=0.9 * wide, edgecolor=colour, lw=0.8,
                 facecolor="white" if bar.missed else colour)
    axes.annotate(pen.letter if bar.kwh is not None else f"{pen.letter}\n–", (at, height),
                  xytext=(0, 1.5), textcoords="offset points", ha="center", va="bottom",
                  fontsize=5.5)


def _legend(axes: Axes, drawn: Sequence[Pen]) -> None:
    handles = [Patch(fc=pen.how["color"], ec=pen.how["color"]) for pen in drawn]
    handles += [Patch(fc="white", ec=ink.BLACK), Patch(fc="none", ec="none")]
    names = [f"{pen.letter}  {pen.name}" for pen in drawn]
    axes.legend(handles, [*names, "hollow: beyond a limit", "–  cannot be served"],
                loc="upper left", bbox_to_anchor=(1.01, 1.0), borderaxespad=0.0)
