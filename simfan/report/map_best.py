"""Where two elements share the output: the sharing that takes the least power, and what other
ways take beside it."""

from collections.abc import Iterator
from math import isfinite

import numpy as np
from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.padding import Padding
from rich.table import Table

from simfan.operating_map import BestPath, Share
from simfan.overview import Overview
from simfan.report.items import item
from simfan.report.map_rows import number
from simfan.report.sections import Section
from simfan.report.table import PLAIN_LINES
from simfan.report.terminal import Words
from simfan.units import System, convert, preferred

ROWS = 7
ROUNDING = 1e-3
"""Of the range of values held: the ways end within so much of one another."""


def _text(overview: Overview, system: System) -> RenderableType | None:
    parts: list[RenderableType] = []
    for found in overview.map.strategies:
        if found.best_path:
            parts += [item(f"{found.name}: {_words(found.best_path)}"),
                      _Ways(overview, found.best_path, system)]
    return Group(*parts) if parts else None


def _words(best: BestPath) -> str:
    """The sequence table, as a list of points, and how far it is from the least power."""
    elements = [name for name in best.table if name != "output"]
    points = ", ".join(
        f"{100.0 * u:.3g} → " + " / ".join(f"{100.0 * best.table[name][k]:.3g}"
                                           for name in elements)
        for k, u in enumerate(best.table["output"]))
    return (f"output → {' / '.join(elements)} [%]: {points}; at most "
            f"{100.0 * best.excess:.2g} % above the least power found")


class _Ways:
    """Power at some of the values held, the least and that of each way; blank where it does not
    reach."""

    def __init__(self, overview: Overview, best: BestPath, system: System) -> None:
        self.kind, self.best, self.system = overview.map.held_kind, best, system

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        best, unit = self.best, preferred(self.kind, self.system)
        lines = PLAIN_LINES if options.ascii_only else box.SIMPLE_HEAD
        table = Table(box=lines, padding=0, pad_edge=False, show_edge=False, header_style="bold")
        for head in (f"held\n{unit}", "least\nkW", *(f"{way.name}\nkW" for way in best.ways)):
            table.add_column(Words(head), justify="right", overflow="fold")
        for k in _some(len(best.held)):
            powers = [best.electrical_power[k], *(at(way, best.held[k]) for way in best.ways)]
            table.add_row(number(convert(best.held[k], self.kind, unit)), *map(_kilowatts, powers))
        ratios = (number(way.gain_ratio) for way in best.ways)
        table.add_row("gain, largest/smallest", "", *ratios)
        yield Padding(table, (0, 0, 0, 4))


def at(way: Share, held: float) -> float:
    """Power of one way [W] at a value held between those at which it was computed; nan beyond."""
    known, power = np.array(way.held), np.array(way.electrical_power)
    if not known.size:
        return np.nan
    order, slack = np.argsort(known), ROUNDING * float(np.ptp(known))
    if not known.min() - slack <= held <= known.max() + slack:
        return np.nan
    return float(np.interp(held, known[order], power[order]))


def _some(n: int) -> list[int]:
    return sorted({round(k * (n - 1) / (ROWS - 1)) for k in range(ROWS)}) if n else []


def _kilowatts(watts: float) -> str:
    return number(1e-3 * watts) if isfinite(watts) else "-"


BEST = Section("map-best", "Least power from two elements", text=_text)
