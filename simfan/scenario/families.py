"""Curves that a scenario takes from other files, put into its tables, with the places they have."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from simfan.errors import PathPart, Problem, ScenarioError
from simfan.scenario.sheet import Sheet, read_sheet
from simfan.scenario.textfile import text_of

Keys = tuple[PathPart, ...]

ELEMENTS = ("inlet_box_damper", "inlet_vanes")
"""Keys of a strategy whose tables may name a file of curves."""
LARGEST_SHEET = 1_000_000
"""[bytes]; fifty openings of a thousand points are about that."""


@dataclass
class Families:
    """A scenario's tables with every named file read."""

    tables: dict[str, Any]
    sheets: dict[Keys, tuple[str, Sheet]] = field(default_factory=dict)
    """Path of the list of curves → (name of the file, sheet)."""
    problems: list[Problem] = field(default_factory=list)

    def place(self, problem: Problem) -> Problem:
        """The problem with file and line, if it is one of a curve that was read from a file."""
        for path, (name, sheet) in self.sheets.items():
            if problem.path[:len(path)] == path:
                line = _line(problem.path[len(path):], sheet)
                return replace(problem, file=name, line=line)
        return problem


def with_families(tables: Mapping[str, Any], folder: Path) -> Families:
    """Read the files that the tables name, from this folder."""
    made = Families(dict(tables))
    strategies = tables.get("strategies")
    if isinstance(strategies, dict):
        made.tables["strategies"] = {
            name: {key: _read(value, ("strategies", name, key), folder, made)
                   for key, value in strategy.items()} if isinstance(strategy, dict) else strategy
            for name, strategy in strategies.items()}
    return made


def families_named(tables: Mapping[str, Any], folder: Path) -> list[Path]:
    """The files of curves that the tables name, each once, in the order of their names."""
    strategies = tables.get("strategies")
    parts = [part for strategy in strategies.values() if isinstance(strategy, dict)
             for key, part in strategy.items() if key in ELEMENTS and isinstance(part, dict)
             ] if isinstance(strategies, dict) else []
    names = {part["family_file"] for part in parts if isinstance(part.get("family_file"), str)}
    return [folder / name for name in sorted(names) if "\0" not in name]


def _read(table: Any, path: Keys, folder: Path, made: Families) -> Any:
    """The table of an element with its file's curves; without any where the file is faulty."""
    if path[-1] not in ELEMENTS or not isinstance(table, dict):
        return table
    name = table.get("family_file")
    if not isinstance(name, str):
        return table
    here = (*path, "family_file")
    sheet = _sheet(name, folder) if "family" not in table else Sheet([], [], [
        Problem((), "both family and family_file", "one of the two")])
    if sheet.problems:
        file = Path(name).name
        made.problems += [replace(p, path=here, file=file if p.line else None)
                          for p in sheet.problems]
        return {key: value for key, value in table.items() if key not in ("family", "family_file")}
    made.sheets[*path, "family"] = Path(name).name, sheet
    return table | {"family": sheet.curves}


def _sheet(name: str, folder: Path) -> Sheet:
    if Path(name).is_absolute():
        return Sheet([], [], [Problem((), "a path from the root", "a path from the scenario's "
                                      "folder", "so that both can be moved together")])
    try:
        return read_sheet(text_of(folder / name, "a file of curves", LARGEST_SHEET))
    except ScenarioError as error:
        return Sheet([], [], error.problems)


def _line(rest: Keys, sheet: Sheet) -> int | None:
    """Of a point, else of a curve's first point."""
    places = [part for part in rest if isinstance(part, int)]
    if not places or places[0] >= len(sheet.lines):
        return None
    points = sheet.lines[places[0]]
    return points[places[1]] if len(places) > 1 and places[1] < len(points) else points[0]
