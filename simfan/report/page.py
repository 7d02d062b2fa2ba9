"""The page of a comparison: its sections in order, on a terminal and in pictures."""

from collections.abc import Iterable, Iterator
from typing import Any, Protocol

from rich.console import Console, RenderableType

from simfan.compare import Comparison
from simfan.report.account import ALL_ASSUMED, ASSUMED, AUDIT, TUNING
from simfan.report.answer import ANSWER, CAUTION, VERDICTS
from simfan.report.bars import BARS
from simfan.report.basis import BASIS, SOURCES
from simfan.report.excursions import EXCURSIONS
from simfan.report.maps import EVENTS, MAPS, ON_PAPER
from simfan.report.pictures import PICTURES
from simfan.report.procedures import PROCEDURES, STEPS
from simfan.report.protection import PROTECTION
from simfan.report.robustness import ROBUSTNESS
from simfan.report.sections import Drawing, Section
from simfan.report.table import TABLE
from simfan.report.terminal import Words
from simfan.report.zoom import ZOOMABLE
from simfan.units import System


class Titled(Protocol):
    """An answer that a page may tell: a comparison, an operating map."""

    @property
    def title(self) -> str:
        """The scenario's title."""

COMPARISON: tuple[Section[Comparison], ...] = (
    ROBUSTNESS, ANSWER, TABLE, VERDICTS, PROCEDURES, PROTECTION, EXCURSIONS, PICTURES, TUNING,
    ASSUMED, AUDIT, CAUTION,
)  # fmt: skip
"""On a terminal."""
IN_FULL = tuple(ALL_ASSUMED if section is ASSUMED else section for kept in COMPARISON
                for section in ((kept, STEPS) if kept is PROCEDURES else (kept,)))
"""On paper: with every default."""


ON_PAGE: tuple[Section[Comparison], ...] = (
    ROBUSTNESS, ANSWER, TABLE, BARS, PROCEDURES, STEPS, PROTECTION, ZOOMABLE, ON_PAPER, EVENTS,
    MAPS, EXCURSIONS, BASIS, SOURCES, AUDIT, CAUTION,
)  # fmt: skip
"""On an HTML page."""


def print_on(
    console: Console, answer: Titled, system: System,
    sections: Iterable[Section[Any]] = COMPARISON,
) -> None:  # fmt: skip
    """The scenario's title, then every section that has something to say."""
    for part in said(answer, system, sections):
        console.print(part)


def said(answer: Titled, system: System, sections: Iterable[Section[Any]]
         ) -> Iterator[RenderableType]:
    """The same, piece by piece."""
    yield Words(answer.title, style="bold")
    for section in sections:
        text = section.text(answer, system)
        if text is None:
            continue
        yield Words("")
        if section.title:
            yield Words(section.title, style="bold")
        yield text


def drawings(
    answer: Titled, system: System, sections: Iterable[Section[Any]] = COMPARISON
) -> Iterable[Drawing]:
    """The pictures of every section."""
    for section in sections:
        yield from section.drawings(answer, system)
