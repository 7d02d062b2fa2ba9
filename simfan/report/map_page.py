"""The page of an operating map: its sections in order; and its part of another answer's page."""

from collections.abc import Callable
from typing import Any

from markupsafe import Markup

from simfan.overview import Overview
from simfan.report.map_best import BEST
from simfan.report.map_pictures import PICTURES, SHARES, SIDE_BY_SIDE
from simfan.report.map_points import POINTS
from simfan.report.map_table import TABLE
from simfan.report.map_words import ANSWER, ASSUMED, BANDS, CAUTION, ENDS, FINDINGS, LINES
from simfan.report.sections import Fragment, Section
from simfan.units import System

MAP: tuple[Section[Overview], ...] = (
    ANSWER, TABLE, ENDS, FINDINGS, BANDS, BEST, SHARES, SIDE_BY_SIDE, PICTURES, POINTS, ASSUMED,
    CAUTION,
)  # fmt: skip
QUIET: tuple[Section[Overview], ...] = (LINES,)
IN_A_REPORT: tuple[Section[Overview], ...] = (
    ANSWER, TABLE, ENDS, FINDINGS, BANDS, BEST, SIDE_BY_SIDE,
)  # fmt: skip
"""Without what a comparison's page shows of each strategy anyway."""


def in_a_report(made: Callable[[], Overview]) -> Section[Any]:
    """The map as one section of another answer's page, made when the page is."""

    def html(_: Any, system: System) -> Fragment:
        from simfan.report import web

        overview = made()
        frame = Markup("<h3>{}</h3>{}")
        return Fragment(Markup("\n").join(
            frame.format(part.title, part.body) if part.title else part.body
            for part in web.parts(overview, system, IN_A_REPORT)))

    return Section("operating-map", "Over the whole range, at rest", html=html)
