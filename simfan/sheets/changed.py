"""What was changed in sheets: cell by cell, known again by the numbers of their lines."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path as File
from typing import Self

from pydantic import BaseModel, ConfigDict, model_validator

from simfan.errors import Problem, ScenarioError
from simfan.sheets import csvfile
from simfan.sheets.sheet import LINE, UNIT, Path, Typed

Cells = Mapping[Path, tuple[Typed, str, int]]
"""Place in the scenario → what is typed now, file, and the line as its first column has it."""


WITH_UNIT = ("Value", "Setpoint")
"""Columns whose unit stands in a column of its own."""


class Rows(BaseModel):
    """A sheet as it was written."""

    columns: tuple[str, ...]
    rows: list[list[str]]


class Mark(BaseModel):
    """A cell that is typed in."""

    sheet: str
    line: int
    column: str
    path: Path
    unit: str


class Listed(BaseModel):
    """What the sheets were when they were written."""

    model_config = ConfigDict(strict=True)
    simfan: str
    """Its version."""
    sought: list[str]
    """Strategies whose gains were sought."""
    runs: dict[str, str]
    """Strategy → fingerprint of its run."""
    sheets: dict[str, Rows]
    typed: list[Mark]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        for key, one in self.sheets.items():
            if one.columns[:1] != (LINE,) or any(
                    len(row) != len(one.columns) or not row[0].isdecimal() for row in one.rows):
                raise ValueError(f"the rows of {key} do not fit its columns")
        for mark in self.typed:
            if mark.sheet not in self.sheets or mark.column not in self.sheets[mark.sheet].columns:
                raise ValueError(f"no column {mark.column} in a sheet {mark.sheet}")
        return self


@dataclass(frozen=True)
class ChangedCell:
    """A cell that is not what it was."""

    sheet: str
    """Name of its file, without the ending."""
    line: int
    """Of the sheet, as its first column has it [1]."""
    row: int
    """Of the file, the headings being row 1 [1]."""
    field: str
    """What the line is about, and the column."""
    was: str
    """What stood there."""
    now: str
    """What stands there."""
    typed: bool
    """Whether the run depends on it; else it is a word beside the numbers."""


def differences(folder: File, listed: Listed) -> tuple[tuple[ChangedCell, ...], Cells]:
    """(every changed cell, all typed cells as they are now). Raises ScenarioError with every line
    that is missing, was not there, or cannot be read."""
    changed: list[ChangedCell] = []
    cells: dict[Path, tuple[Typed, str, int]] = {}
    amiss: list[Problem] = []
    for key, one in listed.sheets.items():
        marks = {(t.line, t.column): t for t in listed.typed if t.sheet == key}
        try:
            found = csvfile.read(folder / f"{key}.csv", one.columns)
        except ScenarioError as error:
            amiss += error.problems
            continue
        rows = {int(row[0]): dict(zip(one.columns, row, strict=True)) for row in one.rows}
        amiss += _rows_amiss(f"{key}.csv", rows, found)
        for line in rows.keys() & found.keys():
            changed += _row(key, line, rows[line], found[line], marks)
            cells |= _typed(f"{key}.csv", line, found[line], marks)
    if amiss:
        raise ScenarioError(amiss)
    return tuple(sorted(changed, key=lambda d: (not d.typed, d.sheet, d.line))), cells


def _rows_amiss(file: str, rows: Mapping[int, Mapping[str, str]],
                found: Mapping[int, csvfile.Found]) -> list[Problem]:
    missing = [Problem((), f"no line {line}", f"lines 1 to {max(rows)}",
                       f"it said: {_about(rows[line])}", None, file)
               for line in sorted(rows.keys() - found.keys())]
    extra = [Problem((), f"a line {line} that was not there", f"lines 1 to {max(rows)}",
                     "a new loop, alarm or breakpoint belongs into the scenario", found[line].place,
                     file)
             for line in sorted(found.keys() - rows.keys())]
    return missing + extra


def _row(key: str, line: int, was: Mapping[str, str], now: csvfile.Found,
         marks: Mapping[tuple[int, str], Mark]) -> list[ChangedCell]:
    runs = {column for at, column in marks if at == line}
    if runs & set(WITH_UNIT) and UNIT in was:
        runs.add(UNIT)
    return [ChangedCell(key, line, now.place, f"{_about(was)}: {column}", was[column],
                       now.cells[column], column in runs)
            for column in was if column != LINE and not alike(was[column], now.cells[column])]


def _typed(file: str, line: int, row: csvfile.Found, marks: Mapping[tuple[int, str], Mark]
           ) -> dict[Path, tuple[Typed, str, int]]:
    found = {}
    for (at, column), mark in marks.items():
        if at != line:
            continue
        own = mark.unit and column in WITH_UNIT and UNIT in row.cells
        unit = row.cells[UNIT] if own else mark.unit
        found[mark.path] = (Typed(mark.path, row.cells[column], unit), file, at)
    return found


def alike(was: str, now: str) -> bool:
    """Whether two cells say the same; numbers by their value, so that 0.50 is 0.5."""
    try:
        return float(was) == float(now)
    except ValueError:
        return " ".join(was.split()) == " ".join(now.split())


def _about(row: Mapping[str, str]) -> str:
    """What a line is about, by its first words."""
    wanted = ("Strategy", "Loop", "Field", "Limit", "From", "Device", "Block", "Watches", "Table",
              "Criterion", "Cause", "Subject", "Statement", "Procedure", "Step", "Action")
    words = [row[c] for c in wanted if c in row and not row[c].startswith("n/a")]
    return ", ".join(words[:4])
