"""A sheet: a table of words, some of whose cells a person types into a control system."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from simfan.errors import PathPart

Path = tuple[PathPart, ...]

LINE = "Line"
"""The first column of every sheet; a line keeps its number however the sheet is sorted."""
UNIT = "Unit"
"""Column with the unit of the typed cells of a row, in sheets whose columns do not say theirs."""


@dataclass(frozen=True)
class Typed:
    """A cell that is typed in."""

    path: Path
    """Where in the scenario it stands."""
    text: str
    """As it is typed, rounded."""
    unit: str = ""
    """Of the number; "" for a word or a number without one."""


Cell = str | Typed


def na(why: str) -> str:
    """A cell without a value, and the reason."""
    return f"n/a: {why}"


PLAIN = na("a plain number")
"""In the column Unit, of a number without one."""


def unit_of(cell: Cell) -> str:
    """Unit of a cell, or why it has none."""
    if isinstance(cell, str):
        return na("no number")
    return cell.unit or (PLAIN if cell.text.lstrip("-")[:1].isdigit() else na("a word"))


@dataclass(frozen=True)
class Row:
    """One line."""

    line: int
    """Its number, from 1 [1]."""
    cells: Mapping[str, Cell]
    """Column → what stands there."""

    def words(self, column: str) -> str:
        """What is written in a cell."""
        if column == LINE:
            return str(self.line)
        cell = self.cells[column]
        return cell.text if isinstance(cell, Typed) else cell

    @property
    def typed(self) -> dict[str, Typed]:
        """Column → cell, of those that are typed in."""
        return {name: cell for name, cell in self.cells.items() if isinstance(cell, Typed)}


@dataclass(frozen=True)
class Sheet:
    """One sheet."""

    key: str
    """Name of its file, without the ending."""
    title: str
    """For people."""
    says: str
    """What it is, in a sentence."""
    columns: tuple[str, ...]
    """Headings, the line's first."""
    rows: tuple[Row, ...]
    """In order; never none."""

    @property
    def text(self) -> list[list[str]]:
        """The rows as they are written, without the headings."""
        return [[row.words(column) for column in self.columns] for row in self.rows]


def sheet(key: str, title: str, says: str, columns: Sequence[str],
          rows: Iterable[Mapping[str, Cell]], none: str) -> Sheet:
    """The sheet with its lines numbered; a sheet without rows has one that says why, `none`."""
    found = list(rows) or [{c: "n/a" if k else na(none) for k, c in enumerate(columns)}]
    for cells in found:
        if missing := set(columns) - set(cells):
            raise ValueError(f"sheet {key}: nothing in {', '.join(sorted(missing))}")
    return Sheet(key, title, says, (LINE, *columns),
                 tuple(Row(k, cells) for k, cells in enumerate(found, start=1)))
