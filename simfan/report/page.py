"""The page of a comparison: its sections in order, on a terminal and in pictures."""

from collections.abc import Iterable

from rich.console import Console

from simfan.compare import Comparison
from simfan.report.account import ALL_ASSUMED, ASSUMED, AUDIT, TUNING
from simfan.report.answer import ANSWER, CAUTION, VERDICTS
from simfan.report.excursions import EXCURSIONS
from simfan.report.pictures import PICTURES
from simfan.report.sections import Drawing, Section
from simfan.report.table import TABLE
from simfan.report.terminal import Words
from simfan.units import System

COMPARISON: tuple[Section, ...] = (
    ANSWER, TABLE, VERDICTS, EXCURSIONS, PICTURES, TUNING, ASSUMED, AUDIT, CAUTION,
)  # fmt: skip
"""On a terminal."""
IN_FULL = tuple(ALL_ASSUMED if section is ASSUMED else section for section in COMPARISON)
"""On paper: with every default."""


def print_on(
    console: Console, comparison: Comparison, system: System,
    sections: Iterable[Section] = COMPARISON,
) -> None:  # fmt: skip
    """The scenario's title, then every section that has something to say."""
    console.print(Words(comparison.title, style="bold"))
    for section in sections:
        said = section.text(comparison, system)
        if said is None:
            continue
        console.print()
        if section.title:
            console.print(Words(section.title, style="bold"))
        console.print(said)


def drawings(
    comparison: Comparison, system: System, sections: Iterable[Section] = COMPARISON
) -> Iterable[Drawing]:
    """The pictures of every section."""
    for section in sections:
        yield from section.drawings(comparison, system)
