"""The table across strategies of an operating map: a row for each answer, a column for each.

Where the strategies do not fit side by side the table goes on below with the next ones. A limit
missed is told by a sign, never by colour alone.
"""

import textwrap
from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType
from rich.table import Table

from simfan.operating_map import StrategyMap
from simfan.overview import Overview
from simfan.report.answer import MISS
from simfan.report.map_rows import Block, Row, blocks
from simfan.report.sections import Section
from simfan.report.table import BETWEEN, NARROWEST, PLAIN_LINES, PLAIN_MISS, WIDEST
from simfan.report.terminal import Words
from simfan.units import System

NAMES = 31


class _SideBySide:
    """As many strategies beside one another as the console has room for."""

    def __init__(self, overview: Overview, system: System) -> None:
        self.overview, self.system = overview, system

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        sign, lines = (PLAIN_MISS, PLAIN_LINES) if options.ascii_only else (MISS, box.SIMPLE_HEAD)
        content, maps = blocks(self.overview, self.system), self.overview.map.strategies
        room = options.max_width - NAMES - BETWEEN
        across = max(1, room // (NARROWEST + BETWEEN))
        even = -(-len(maps) // -(-len(maps) // across))
        width = min(WIDEST, room // even - BETWEEN)
        for first in range(0, len(maps), even):
            yield _table(content, maps[first : first + even], width, sign, lines)
            yield Words("")
        yield Words(f"{sign} beyond a limit.  -  no such number; the map's JSON says why.",
                    style="dim")


def _table(
    content: Sequence[Block], maps: Sequence[StrategyMap], width: int, sign: str, lines: box.Box,
) -> Table:  # fmt: skip
    table = Table(box=lines, padding=0, pad_edge=False, show_edge=False, header_style="bold")
    table.add_column("", width=NAMES, overflow="fold")
    for found in maps:
        name = Words("\n".join(textwrap.wrap(found.name, width)))
        table.add_column(name, width=width, justify="right")
    for block in content:
        table.add_row(Words(block.title, style="bold"))
        for row in block.rows:
            unit = f" [{row.unit}]" if row.unit else ""
            table.add_row(Words(f" {row.name}{unit}"), *(_cell(row, m, sign) for m in maps))
    return table


def _cell(row: Row, found: StrategyMap, sign: str) -> Words:
    words, missed = row.cell(found)
    return Words(f"{sign} {words}", style="bold red") if missed else Words(words)


def _text(overview: Overview, system: System) -> RenderableType:
    return _SideBySide(overview, system)


TABLE = Section("map-table", "", text=_text)
