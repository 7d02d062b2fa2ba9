"""The pictures of an operating map, for its folder and its page."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import TYPE_CHECKING

from simfan.operating_map import StrategyMap
from simfan.overview import Overview
from simfan.report.names import file_names
from simfan.report.sections import Drawing, Fragment, Section
from simfan.units import System

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FOLDER = "operating-map"
"""Of the pictures, beside map.json: strategies may bear any name there."""
LEAST_POWER = "least-power"
"""Folder in it, of the pictures of two elements that share an output."""
ACROSS = {
    "power": "Power from the supply against flow",
    "stall-margin": "Stall margin against flow",
    "positions": "Positions of the elements against flow",
    "gain": "Process gain against flow",
    "year": "Load profile, and energy of a year in each of its bins",
}
"""Pictures that show all strategies, with their words on a page; "year" where there is a load
profile."""


def _drawings(overview: Overview, system: System) -> Iterable[Drawing]:
    names = [m.name for m in overview.map.strategies]
    files = file_names([*ACROSS, *names])[len(ACROSS):]
    for k, file in enumerate(files):
        yield Drawing(f"{FOLDER}/{file}", partial(_of_strategy, k, overview, system))


def _drawings_across(overview: Overview, system: System) -> Iterable[Drawing]:
    for name in ACROSS:
        if name != "year" or overview.years:
            yield Drawing(f"{FOLDER}/{name}", partial(_across, name, overview, system))


def _drawings_shared(overview: Overview, system: System) -> Iterable[Drawing]:
    """Where a sequence of least power was found."""
    maps = overview.map.strategies
    for found, file in zip(maps, file_names([m.name for m in maps]), strict=True):
        if found.best_path:
            yield Drawing(f"{FOLDER}/{LEAST_POWER}/{file}",
                          partial(_shares, found, overview, system))


def _html(overview: Overview, system: System) -> Fragment:
    from markupsafe import Markup

    from simfan.report.inline import figure

    maps = overview.map.strategies
    return Fragment(Markup("").join(
        figure(drawing, f"{found.name}: operating points over the fan's curves")
        for found, drawing in zip(maps, _drawings(overview, system), strict=True)))


def _html_across(overview: Overview, system: System) -> Fragment:
    from markupsafe import Markup

    from simfan.report.inline import figure

    return Fragment(Markup("").join(
        figure(drawing, ACROSS[drawing.name.removeprefix(f"{FOLDER}/")])
        for drawing in _drawings_across(overview, system)))


def _html_shared(overview: Overview, system: System) -> Fragment | None:
    from markupsafe import Markup

    from simfan.report.inline import figure

    drawn = [figure(drawing, f"{drawing.name.rpartition('/')[2]}: ways of sharing the output")
             for drawing in _drawings_shared(overview, system)]
    return Fragment(Markup("").join(drawn)) if drawn else None


def _across(name: str, overview: Overview, system: System, flat: bool) -> Figure:
    from simfan.report import map_lines, map_load

    draw: dict[str, Callable[[Overview, System, bool], Figure]] = {
        "power": map_lines.power, "stall-margin": map_lines.margin,
        "positions": map_lines.positions, "gain": map_lines.gain, "year": map_load.of_year}
    return draw[name](overview, system, flat)


def _shares(found: StrategyMap, overview: Overview, system: System, flat: bool) -> Figure:
    from simfan.report.map_shares import picture

    return picture(overview, found, system, flat)


def _of_strategy(k: int, overview: Overview, system: System, flat: bool) -> Figure:
    from simfan.report.map_fan import picture

    return picture(overview, overview.map.strategies[k], system, flat)


SIDE_BY_SIDE = Section("map-side-by-side", "Strategies against flow", drawings=_drawings_across,
                       html=_html_across)
SHARES = Section("map-shares", "", drawings=_drawings_shared, html=_html_shared)
PICTURES = Section("map-pictures", "Each strategy over the fan's curves", drawings=_drawings,
                   html=_html)
