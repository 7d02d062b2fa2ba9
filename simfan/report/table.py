"""The comparison table for a terminal: a row for each measure, a column for each strategy.

Where the strategies do not fit side by side the table goes on below with the next ones. A miss
is told by a sign, never by colour alone.
"""

import textwrap
from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.table import Table

from simfan.compare import Comparison, StrategyResult
from simfan.report.answer import MISS
from simfan.report.rows import Block, Row, blocks
from simfan.report.sections import Section
from simfan.report.terminal import Words
from simfan.report.wording import reworded
from simfan.units import System

NAMES, LIMITS = 25, 7
NARROWEST = 10
WIDEST = 20
BETWEEN = 1
"""Columns that the box puts between two cells."""
PLAIN_MISS = "x"
PLAIN_LINES = box.Box(str(box.SIMPLE_HEAD).replace("─", "-"), ascii=True)


class _SideBySide:
    """As many strategies beside one another as the console has room for."""

    def __init__(self, comparison: Comparison, system: System) -> None:
        self.comparison, self.system = comparison, system

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        sign, lines = (PLAIN_MISS, PLAIN_LINES) if options.ascii_only else (MISS, box.SIMPLE_HEAD)
        rows = blocks(self.comparison, self.system)
        room = max(options.max_width - NAMES - LIMITS - 2 * BETWEEN, NARROWEST + BETWEEN)
        across = max(1, room // (NARROWEST + BETWEEN))
        results = self.comparison.strategies
        sheets = -(-len(results) // across)
        even = -(-len(results) // sheets)
        width = min(WIDEST, room // even - BETWEEN)
        for first in range(0, len(results), even):
            yield _table(rows, results[first : first + even], width, sign, lines)
            yield Words("")
        yield Words(_legend(self.comparison, sign, self.system), style="dim")


def _table(
    content: Sequence[Block], results: Sequence[StrategyResult], width: int, sign: str,
    lines: box.Box,
) -> Table:  # fmt: skip
    table = Table(box=lines, padding=0, pad_edge=False, show_edge=False, header_style="bold")
    table.add_column("", width=NAMES, overflow="fold")
    table.add_column("allowed", width=LIMITS, no_wrap=True, justify="right")
    for result in results:
        table.add_column(_name(result.name, width), width=width, justify="right")
    table.add_row("meets the criteria", "", *(_meets(r, sign) for r in results))
    for block in content:
        table.add_row(Words(block.title, style="bold"))
        for row in block.rows:
            cells = (_cell(row, result, sign) for result in results)
            unit = f" [{row.unit}]" if row.unit else ""
            table.add_row(Words(f" {row.name}{unit}"), Words(row.limit), *cells)
    return table


def _name(strategy: str, width: int) -> Words:
    """A long name breaks after its hyphens."""
    return Words("\n".join(textwrap.wrap(strategy, width)))


def _meets(result: StrategyResult, sign: str) -> Words:
    if result.stopped:
        return Words(f"{sign} stopped", style="bold red")
    return Words("yes") if result.meets_criteria else Words(f"{sign} no", style="bold red")


def _cell(row: Row, result: StrategyResult, sign: str) -> Words:
    if result.measures is None:
        return Words("-")
    value = row.value(result.measures)
    if row.criterion and row.missed(result):
        return Words(f"{sign} {value}", style="bold red")
    return Words(value)


def _legend(comparison: Comparison, sign: str, system: System) -> str:
    first = next((r.measures for r in comparison.strategies if r.measures), None)
    by_span = comparison.strategies[0].history.facts.held_kind == "pressure"
    what = "errors, deviations and the band" if by_span else "errors and deviations"
    hundred = reworded(f" 100 % in {what} is {first.tracking.percent_of}." if first else "", system)
    ramps = " Settling counts from the end of a ramp." if first and any(
        change.over_s for change in first.tracking.changes) else ""
    return f"{sign} misses a criterion.  -  no such number; result.json says why.{hundred}{ramps}"


def side_by_side(comparison: Comparison, system: System) -> RenderableType:
    """The table, its legend below."""
    return Group(_SideBySide(comparison, system))


TABLE = Section("table", "", text=side_by_side)
