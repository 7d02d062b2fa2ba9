"""What each strategy costs, as bars: energy from the supply and travel of the elements."""

from collections.abc import Iterable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from simfan.compare import Comparison, StrategyResult
from simfan.metrics import Measures
from simfan.report import ink
from simfan.report.sections import Drawing, Section
from simfan.units import System, significant

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDE_IN, ROW_IN, FRAME_IN = 10.0, 0.3, 0.8
ROOM = 1.35
ROOM_OF_TWO = 2.0
"""Of the longest bar, for the words behind it."""
SHADES = (ink.BLUE, ink.ORANGE, ink.GREEN, ink.PURPLE)
HATCHES = ("", "//", "..", "xx")


def _drawings(comparison: Comparison, system: System) -> Iterable[Drawing]:
    judged = [r for r in comparison.strategies if r.measures]
    if judged:
        yield Drawing("energy-and-travel", partial(_draw, judged))


def _draw(results: Sequence[StrategyResult], flat: bool) -> "Figure":
    import matplotlib as mpl
    from matplotlib.figure import Figure

    tall = FRAME_IN + ROW_IN * len(results)
    with mpl.rc_context(ink.STYLE):
        figure = Figure(figsize=(WIDE_IN, tall))
        figure.subplots_adjust(left=0.16, right=0.97, top=1 - 0.25 / tall, bottom=0.45 / tall,
                               wspace=0.12)  # fmt: skip
        energy, travel = figure.subplots(1, 2, sharey=True)
        for row, result in enumerate(results):
            if result.measures:
                _energy(energy, row, result.measures)
                _travel(travel, row, result.measures)
        energy.set_yticks(range(len(results)), [ink.literal(r.name) for r in results])
        energy.invert_yaxis()
        energy.set_xlabel(ink.axis("Energy from the supply", "E", "kWh"))
        travel.set_xlabel(ink.axis("Travel of the elements", "Σ|Δy|", "%"))
        for axes in (energy, travel):
            axes.grid(axis="y", visible=False)
            axes.set_axisbelow(True)
        energy.set_xlim(right=ROOM * energy.dataLim.x1)
        several = any(r.measures and len(r.measures.travel) > 1 for r in results)
        travel.set_xlim(right=(ROOM_OF_TWO if several else ROOM) * travel.dataLim.x1)
    return figure


def _energy(axes: "Axes", row: int, measures: Measures) -> None:
    kwh = measures.energy.electrical_kwh
    if kwh is None:
        return
    axes.barh(row, kwh, 0.62, color=ink.SKY, edgecolor=ink.BLACK, lw=0.6)
    axes.text(kwh, row, f" {significant(kwh)}", va="center")


def _travel(axes: "Axes", row: int, measures: Measures) -> None:
    """One element after the other; a second one is hatched."""
    start = 0.0
    known = {name: t.travel_percent for name, t in measures.travel.items()
             if t.travel_percent is not None}
    for k, moved in enumerate(known.values()):
        axes.barh(row, moved, 0.62, start, color=SHADES[k % len(SHADES)],
                  edgecolor=ink.BLACK, hatch=HATCHES[k % len(HATCHES)], lw=0.6)  # fmt: skip
        start += moved
    told = ", ".join(f"{name} {significant(moved)}" for name, moved in known.items())
    axes.text(start, row, f" {told}", va="center", fontsize=6.5)


BARS = Section("bars", "Energy and travel", drawings=_drawings)
