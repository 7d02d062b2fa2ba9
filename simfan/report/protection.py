"""The cause-and-effect table: causes as rows, effects as columns, and which of them acted when."""

from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.table import Table

from simfan.compare import Comparison, StrategyResult
from simfan.history import Guarded
from simfan.report.items import item
from simfan.report.sections import Section
from simfan.report.table import PLAIN_LINES
from simfan.report.terminal import Words
from simfan.report.wording import reworded
from simfan.units import System, significant

EFFECTS = ("alarm", "trip", "run-back")
MARK = "X"
TIMES = 4
"""Of one row and strategy that are told; the rest is counted."""
CAUTION = ("This shows what the table does to the plant as modelled. It is no trip system: causes, "
           "delays and votes of the real one follow the maker's data, local codes and licensed "
           "practice.")


class _Matrix:
    """The table, its lines as the console can draw them."""

    def __init__(self, rows: Sequence[Guarded], system: System) -> None:
        self.rows, self.system = rows, system

    def __rich_console__(self, console: Console, options: ConsoleOptions
                         ) -> Iterator[RenderableType]:
        lines = PLAIN_LINES if options.ascii_only else box.SIMPLE_HEAD
        table = Table(box=lines, padding=0, pad_edge=False, show_edge=False, header_style="bold")
        shown = [name for name in HEAD if name not in LEFT_OUT
                 or any(_cell(row, name, self.system) for row in self.rows)]
        for name in shown:
            table.add_column(name, overflow="fold",
                             justify="center" if name in EFFECTS else "left")
        for row in self.rows:
            table.add_row(*(Words(_cell(row, name, self.system)) for name in shown))
        yield table


HEAD = ("cause", *EFFECTS, "output to", "delay", "bypass", "reset")
LEFT_OUT = ("output to", "delay", "bypass")
"""Columns that are left out where no row has anything in them."""


def _cell(row: Guarded, name: str, system: System) -> str:
    """What stands in a column of a row."""
    if name in EFFECTS:
        return MARK if row.effect == name else ""
    output = "" if row.output is None else f"{100.0 * row.output:g} %"
    bypass = f"{row.bypass_s:g} s" if row.bypass_s else ""
    return {"cause": reworded(row.cause, system), "output to": output, "delay": row.delay,
            "bypass": bypass, "reset": row.reset}[name]


def told(result: StrategyResult, system: System) -> list[str]:
    """A line for each row that acted: when, and when it was reset."""
    rows = result.history.facts.protection
    return [f"{result.name}: {row.effect} ({reworded(row.cause, system)}) {_times(row)}"
            for row in rows if row.acted_s] or [f"{result.name}: nothing acted"]


def _times(row: Guarded) -> str:
    words = f"at {_listed(row.acted_s)}"
    return f"{words}, reset at {_listed(row.reset_s)}" if row.reset_s else words


def _listed(times: Sequence[float]) -> str:
    """The first of them, and how many more."""
    more = len(times) - TIMES
    said = ", ".join(f"{significant(t)} s" for t in times[:TIMES])
    return f"{said} and {more} times more" if more > 0 else said


def _text(comparison: Comparison, system: System) -> RenderableType | None:
    rows = comparison.strategies[0].history.facts.protection
    if not rows:
        return None
    lines = [line for result in comparison.strategies for line in told(result, system)]
    return Group(_Matrix(rows, system), Words(""), *map(item, [*lines, CAUTION]))


PROTECTION = Section("protection", "Cause and effect", text=_text)
