"""The recommended tunings as different control systems take them: forms down, strategies across."""

import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.table import Table

from simfan.loop_answer import LoopAnswer, LoopTuning, StrategyLoop
from simfan.plant import tuning
from simfan.report.items import item
from simfan.report.map_rows import number
from simfan.report.table import PLAIN_LINES
from simfan.report.terminal import Words
from simfan.units import System, convert, preferred

NAMES, NARROWEST, WIDEST = 32, 10, 20
"""Columns of the names; least and most of a strategy."""
Cell = Callable[[LoopTuning], str]


@dataclass(frozen=True)
class Form:
    """A heading, and rows: words and the cell of a tuning."""

    title: str
    rows: tuple[tuple[str, Cell], ...]


def forms(answer: LoopAnswer, system: System) -> tuple[Form, ...]:
    """Every form and unit; gains on spans and in the reader's units."""
    unit = preferred(answer.held_kind, system)
    low, high = (convert(x, answer.held_kind, unit) for x in answer.span)
    per = 100.0 / (high - low)
    return (
        Form("Standard", (
            ("gain Kc [% per %]", lambda t: number(t.gain)),
            (f"gain Kc [% per {unit}]", lambda t: number(per * t.gain)),
            ("proportional band [%]", lambda t: number(100.0 / t.gain)),
            ("reset Ti [s]", lambda t: number(t.reset)),
            ("reset Ti [min]", lambda t: number(t.reset / 60.0)),
            ("reset [repeats/min]", lambda t: number(60.0 / t.reset)),
            ("derivative Td [s]", lambda t: number(t.derivative)),
            ("derivative Td [min]", lambda t: number(t.derivative / 60.0)))),
        Form("Parallel", (
            ("proportional Kp [% per %]", lambda t: number(t.gain)),
            ("integral Ki [1/s]", lambda t: number(t.gain / t.reset)),
            ("integral Ki [1/min]", lambda t: number(60.0 * t.gain / t.reset)),
            (f"integral Ki [% per {unit} s]", lambda t: number(per * t.gain / t.reset)),
            ("derivative Kd [s]", lambda t: number(t.gain * t.derivative)))),
        Form("Series", (
            ("gain K [% per %]", _series("gain")),
            ("reset Ti [s]", _series("reset")),
            ("derivative Td [s]", _series("derivative")))),
        Form("Output", (
            ("full travel, at the least [s]", lambda t: number(t.full_travel)),)),
    )


def _series(what: str) -> Cell:
    def cell(t: LoopTuning) -> str:
        try:
            found = tuning.to_series(tuning.Standard(t.gain, t.reset, t.derivative))
        except ValueError:
            return "none"
        return number(getattr(found, what))

    return cell


class _SideBySide:
    """As many strategies beside one another as there is room for."""

    def __init__(self, answer: LoopAnswer, system: System) -> None:
        self.found = [(s, best) for s in answer.strategies if (best := s.recommended)]
        self.forms = forms(answer, system)

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        lines = PLAIN_LINES if options.ascii_only else box.SIMPLE_HEAD
        room = max(options.max_width - NAMES - 1, NARROWEST + 1)
        sheets = -(-len(self.found) // max(1, room // (NARROWEST + 1)))
        even = -(-len(self.found) // max(sheets, 1))
        width = min(WIDEST, room // max(even, 1) - 1)
        for first in range(0, len(self.found), even or 1):
            if first:
                yield Words("")
            yield self._table(self.found[first:first + even], width, lines)

    def _table(self, found: Sequence[tuple[StrategyLoop, LoopTuning]], width: int, lines: box.Box
               ) -> Table:
        table = Table(box=lines, padding=0, pad_edge=False, show_edge=False, header_style="bold")
        table.add_column("", width=NAMES, overflow="fold")
        for loop, _ in found:
            table.add_column(Words("\n".join(textwrap.wrap(loop.name, width))), width=width,
                             justify="right")
        table.add_row("loop", *(Words(loop.tag) for loop, _ in found))
        table.add_row("tuning", *(Words(t.name) for _, t in found))
        table.add_row("action", *(loop.action for loop, _ in found))
        for form in self.forms:
            table.add_row(Words(form.title, style="bold"))
            for name, cell in form.rows:
                table.add_row(Words(f" {name}"), *(Words(cell(t)) for _, t in found))
        return table


def settings(answer: LoopAnswer, system: System) -> RenderableType | None:
    """The table, and what stands for a series form where there is none."""
    found = [(s, best) for s in answer.strategies if (best := s.recommended)]
    if not found:
        return None
    return Group(_SideBySide(answer, system), *map(item, _notes(found)))


def _notes(found: Sequence[tuple[StrategyLoop, LoopTuning]]) -> list[str]:
    notes = ["reverse action: the output falls as the measurement rises"]
    for loop, t in found:
        try:
            tuning.to_series(tuning.Standard(t.gain, t.reset, t.derivative))
        except ValueError as why:
            notes.append(f"{loop.name}: {why}")
    if any(t.derivative for _, t in found):
        some = {number(t.derivative_filter) for _, t in found if t.derivative}
        notes.append(f"the derivative is of the measurement, filtered with Td/N, N = "
                     f"{', '.join(sorted(some))}")
    return notes
