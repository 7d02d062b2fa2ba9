"""The picture of two elements that share an output: what each way takes, and the table found."""

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simfan.operating_map import BestPath, StrategyMap
from simfan.overview import Overview
from simfan.report import ink, map_pens
from simfan.units import System, preferred

HELD = {"volume flow": ("Held flow", "Q"), "mass flow": ("Held mass flow", "ṁ"),
        "pressure": ("Held pressure", "p")}
LEAST_WIDTH = 3.2
"""Of the line of the least power, under the others."""


def picture(overview: Overview, found: StrategyMap, system: System, flat: bool) -> Figure:
    """Power of each way on the left, the found sequence table on the right."""
    best = found.best_path
    with mpl.rc_context(ink.STYLE):
        figure = map_pens.sheet()
        if best is not None:
            _powers(figure.add_axes((0.085, 0.24, 0.42, 0.62)), overview, best, system)
            _table(figure.add_axes((0.6, 0.24, 0.37, 0.62)), best)
        map_pens.head_and_foot(figure, overview.title, f"{found.name}: the table takes at most "
                               f"{100.0 * best.excess if best else 0.0:.2g} % more than the least "
                               "power found")
    return figure


def _powers(axes: Axes, overview: Overview, best: BestPath, system: System) -> None:
    kind = overview.map.held_kind
    held = np.asarray(ink.shown(np.array(best.held), kind, system))
    axes.plot(held, 1e-3 * np.array(best.electrical_power), color="#C8C8C8", lw=LEAST_WIDTH,
              label="least found")
    for k, way in enumerate(best.ways):
        x = np.asarray(ink.shown(np.array(way.held), kind, system))
        axes.plot(x, 1e-3 * np.array(way.electrical_power), lw=1.1, label=way.name,
                  color=map_pens.COLOURS[k % len(map_pens.COLOURS)],
                  ls=map_pens.DASHES[k % len(map_pens.DASHES)])
    name, sign = HELD[kind]
    axes.set_xlabel(ink.axis(name, sign, preferred(kind, system)))
    axes.set_ylabel(ink.axis("Electrical power", r"P$_\mathrm{el}$", "kW"))
    axes.set_ylim(bottom=0.0)
    map_pens.plain_numbers(axes)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=2, columnspacing=1.5)


def _table(axes: Axes, best: BestPath) -> None:
    output = 100.0 * np.array(best.table["output"])
    names = [name for name in best.table if name != "output"]
    for name, (colour, dashes) in zip(names, ink.ELEMENT_LINES, strict=False):
        axes.plot(output, 100.0 * np.array(best.table[name]), color=colour, ls=dashes, lw=1.5,
                  marker="o", ms=3, label=name.replace("_", " "))
    axes.set_xlabel(ink.axis("Controller output", "u", "%"))
    axes.set_ylabel(ink.axis("Demand to the element", "y", "%"))
    axes.set_ylim(bottom=0.0)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=2, columnspacing=1.5)
