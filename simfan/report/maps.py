"""On a page: each strategy's path over the fan map, and its trends on paper."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from markupsafe import Markup

from simfan.compare import Comparison, StrategyResult
from simfan.report import marks
from simfan.report.inline import figure
from simfan.report.markup import table
from simfan.report.names import file_names
from simfan.report.sections import Drawing, Fragment, Section
from simfan.units import System

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def _maps(comparison: Comparison, system: System) -> Fragment:
    from simfan.report import fanmap

    names = file_names([r.name for r in comparison.strategies])
    found = (
        figure(Drawing(f"map-{name}", partial(of_map, r, system)),
               f"{r.name}: {fanmap.density_words(r.history, system)}")
        for r, name in zip(comparison.strategies, names, strict=True)
    )  # fmt: skip
    return Fragment(Markup('<div class="side-by-side">{}</div>').format(Markup("").join(found)))


def of_map(result: StrategyResult, system: System, flat: bool) -> Figure:
    """A run over the fan map, its excursions marked."""
    from simfan.report.single import fan_map

    events = result.measures.excursions.events if result.measures else ()
    return fan_map(result.history, events, system, flat)


def _paper(comparison: Comparison, system: System) -> Fragment:
    names = file_names([r.name for r in comparison.strategies])
    found = (figure(Drawing(f"trends-{name}", partial(of_trends, r, system)), r.name)
             for r, name in zip(comparison.strategies, names, strict=True))  # fmt: skip
    return Fragment(Markup('<div class="paper">{}</div>').format(Markup("").join(found)))


def of_trends(result: StrategyResult, system: System, flat: bool) -> Figure:
    """A run over time, on paper."""
    from simfan.report.single import over_time

    return over_time(result.history, system, flat)


def _events(comparison: Comparison, system: System) -> Fragment | None:
    run = comparison.strategies[0].history
    rows = [(e.mark, f"{e.at_s:g}", e.words) for e in marks.events(run, system)]
    return Fragment(table(["Event", "at [s]", "what"], rows, "text")) if rows else None


MAPS = Section("maps", "Over the fan map", html=_maps)
ON_PAPER = Section("trends-on-paper", "", html=_paper)
EVENTS = Section("events", "", html=_events)
