"""Lists on a terminal, each entry continued under its own first word."""

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.padding import Padding
from rich.table import Table

from simfan.report.terminal import Words


def hanging(name: str, words: str, width: int, indent: int = 2) -> RenderableType:
    """A name in `width` columns, then words that continue under their own beginning."""
    row = Table.grid(padding=0)
    row.add_column(width=width, no_wrap=True)
    row.add_column(overflow="fold")
    row.add_row(Words(name), Words(words))
    return Padding(row, (0, 0, 0, indent))


class Item:
    """One entry of a list."""

    def __init__(self, words: str) -> None:
        self.words = words

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield hanging("-", self.words, width=2)


def item(words: str) -> Item:
    """One entry of a list."""
    return Item(words)
