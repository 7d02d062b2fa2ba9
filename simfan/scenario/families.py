"""Curves and load profiles that a scenario takes from other files, put into its tables, with the
places they have."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from simfan.errors import PathPart, Problem, ScenarioError
from simfan.scenario.profile import ProfileSheet, read_profile
from simfan.scenario.sheet import Sheet, read_sheet
from simfan.scenario.textfile import text_of

Keys = tuple[PathPart, ...]

ELEMENTS = ("inlet_box_damper", "inlet_vanes")
"""Keys of a strategy whose tables may name a file of curves."""
LARGEST_SHEET = 1_000_000
"""[bytes]; fifty openings of a thousand points are about that."""
LARGEST_PROFILE = 3_000_000
"""[bytes]; a year of quarter hours is about half of it."""

S = TypeVar("S", Sheet, ProfileSheet)


@dataclass
class Families:
    """A scenario's tables with every named file read."""

    tables: dict[str, Any]
    sheets: dict[Keys, tuple[str, list[list[int]]]] = field(default_factory=dict)
    """Path of what was read → (name of the file, lines of each of its parts)."""
    problems: list[Problem] = field(default_factory=list)

    def place(self, problem: Problem) -> Problem:
        """The problem with file and line, if it is one of something that was read from a file."""
        for path, (name, lines) in self.sheets.items():
            if problem.path[:len(path)] == path:
                line = _line(problem.path[len(path):], lines)
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
    _read_year(folder, made)
    return made


def families_named(tables: Mapping[str, Any], folder: Path) -> list[Path]:
    """The files that the tables name, each once, in the order of their names."""
    named = {name for name in _named(tables) if isinstance(name, str)}
    return [folder / name for name in sorted(named) if "\0" not in name]


def _named(tables: Mapping[str, Any]) -> Iterator[object]:
    strategies, year = tables.get("strategies"), tables.get("year")
    for strategy in strategies.values() if isinstance(strategies, dict) else ():
        for key, part in strategy.items() if isinstance(strategy, dict) else ():
            if key in ELEMENTS and isinstance(part, dict):
                yield part.get("family_file")
    if isinstance(year, dict):
        yield year.get("profile_file")


def _read(table: Any, path: Keys, folder: Path, made: Families) -> Any:
    """The table of an element with its file's curves; without any where the file is faulty."""
    if path[-1] not in ELEMENTS or not isinstance(table, dict):
        return table
    name = table.get("family_file")
    if not isinstance(name, str):
        return table
    here = (*path, "family_file")
    sheet = (Sheet([], [], _twice("family")) if "family" in table
             else _from_file(name, folder, "curves", LARGEST_SHEET, read_sheet, _no_curves))
    if sheet.problems:
        made.problems += _placed(sheet.problems, here, name)
        return {key: value for key, value in table.items() if key not in ("family", "family_file")}
    made.sheets[*path, "family"] = Path(name).name, sheet.lines
    return table | {"family": sheet.curves}


def _read_year(folder: Path, made: Families) -> None:
    """Put in the file's load profile; where it is faulty the year is left out of the tables."""
    year = made.tables.get("year")
    name = year.get("profile_file") if isinstance(year, dict) else None
    if not isinstance(year, dict) or not isinstance(name, str):
        return
    sheet = (ProfileSheet(problems=_twice("profile")) if "profile" in year
             else _from_file(name, folder, "a load profile", LARGEST_PROFILE, read_profile,
                             _no_profile))
    if sheet.problems:
        made.problems += _placed(sheet.problems, ("year", "profile_file"), name)
        del made.tables["year"]
        return
    made.sheets["year", "profile"] = Path(name).name, sheet.lines
    made.tables["year"] = year | {"profile": sheet.table}


def _twice(key: str) -> list[Problem]:
    return [Problem((), f"both {key} and {key}_file", "one of the two")]


def _placed(problems: list[Problem], here: Keys, name: str) -> list[Problem]:
    """With the file where there is a line in it, else where the file is named."""
    return [replace(p, path=here, file=Path(name).name if p.line else None) for p in problems]


def _no_curves(problems: list[Problem]) -> Sheet:
    return Sheet([], [], problems)


def _no_profile(problems: list[Problem]) -> ProfileSheet:
    return ProfileSheet(problems=problems)


def _from_file(name: str, folder: Path, what: str, largest: int, read: Callable[[str], S],
               refused: Callable[[list[Problem]], S]) -> S:
    if Path(name).is_absolute():
        return refused([Problem((), "a path from the root", "a path from the scenario's folder",
                                "so that both can be moved together")])
    try:
        return read(text_of(folder / name, f"a file of {what}", largest))
    except ScenarioError as error:
        return refused(error.problems)


def _line(rest: Keys, lines: list[list[int]]) -> int | None:
    """Of a point, else of a curve's first point."""
    places = [part for part in rest if isinstance(part, int)]
    if not places or places[0] >= len(lines):
        return None
    points = lines[places[0]]
    return points[places[1]] if len(places) > 1 and places[1] < len(points) else points[0]
