"""A sheet of measured curves: comma-separated values, one row for each point.

    opening [%], flow [m3/s], static_pressure [Pa], shaft_power [kW], stall_flow [m3/s]
    100,          0,           4160,                 118.1,            25
    100,         10,           4358,                 122.2,
     60,          0,           4120,                 110.0,            19

Rows of one opening make a curve; curves may stand in any order. `stall_flow` may be left out, or
given in one row of its curve. Lines that begin with # are comments.
"""

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from simfan import units
from simfan.errors import Problem, UnitError

COLUMNS = {"opening": "fraction", "flow": "volume flow", "static_pressure": "pressure",
           "shaft_power": "power", "stall_flow": "volume flow"}
"""Name → kind of quantity."""
NEEDED = ("opening", "flow", "static_pressure", "shaft_power")
MOST_ROWS = 20_000
MOST_TOLD = 20
"""Bad rows told one by one; a sheet with more is broken as a whole."""

_HEADING = re.compile(r"([^\[\]]*)(?:\[([^\[\]]*)\])?")
NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")

Row = tuple[int, list[str]]
"""Line, counted from 1, and cells."""


@dataclass(frozen=True)
class Sheet:
    """The curves of a sheet as tables of a scenario, or what is wrong with it."""

    curves: list[dict[str, Any]]
    """By rising opening."""
    lines: list[list[int]]
    """Of each curve's points."""
    problems: list[Problem]
    """Without a path; each with its line."""


def read_sheet(text: str) -> Sheet:
    """The curves in this text."""
    try:
        rows = rows_of(text)
    except csv.Error as error:
        return Sheet([], [], [Problem((), f"a text that is no table ({error})",
                                      "comma-separated values")])
    if len(rows) < 2:
        return Sheet([], [], [Problem((), "no rows of numbers",
                                      f"a line of headings, {_example()}, and a row for each point",
                                      line=rows[0][0] if rows else None)])
    if len(rows) > MOST_ROWS:
        return Sheet([], [], [Problem((), f"{len(rows)} rows", f"at most {MOST_ROWS} rows")])
    headings = headings_of(rows[0])
    found = [*_headings_amiss(rows[0][0], headings)] or [
        *_cells_amiss(rows[1:], [name for name, _ in headings])]
    if found:
        return Sheet([], [], found[:MOST_TOLD])
    return _curves(rows[1:], headings)


def rows_of(text: str) -> list[Row]:
    """Every row save comments and empty lines. Raises csv.Error."""
    lines = [line.rstrip("\r") for line in text.split("\n")]
    kept = [(n, line) for n, line in enumerate(lines, start=1)
            if line.strip() and not line.lstrip().startswith("#")]
    read = csv.reader((line for _, line in kept), skipinitialspace=True, strict=True)
    rows = [(kept[read.line_num - 1][0], [cell.strip() for cell in cells]) for cells in read]
    width = len(_without_end(rows[0][1], 0)) if rows else 0
    return [(n, _without_end(cells, width)) for n, cells in rows]


def _without_end(cells: list[str], width: int) -> list[str]:
    """The cells without empty ones beyond that width, which spreadsheets leave at the end."""
    while len(cells) > width and not cells[-1]:
        cells = cells[:-1]
    return cells


def headings_of(row: Row) -> list[tuple[str, str | None]]:
    """(name, unit) of every column."""
    parted = [_HEADING.fullmatch(cell) for cell in row[1]]
    return [(m[1].strip().lower().replace(" ", "_"), m[2] and m[2].strip()) if m else (cell, None)
            for m, cell in zip(parted, row[1], strict=True)]


def _example() -> str:
    return ", ".join(f"{name} [{units.preferred(COLUMNS[name])}]" for name in NEEDED)


def _headings_amiss(line: int, headings: list[tuple[str, str | None]]) -> Iterator[Problem]:
    names = [name for name, _ in headings]
    if len(names) == 1 and ";" in names[0]:
        yield Problem((), "columns parted by semicolons", "columns parted by commas",
                      "decimals take a point", line=line)
        return
    for place, (name, unit) in enumerate(headings):
        if name not in COLUMNS:
            near = get_close_matches(name, list(COLUMNS), n=1, cutoff=0.6)
            yield Problem((), f"an unknown column {units.quoted(name)}", ", ".join(COLUMNS),
                          f"did you mean {near[0]}?" if near else "", line=line)
        elif name in names[:place]:
            yield Problem((), f"the column {name} twice", "each column once", line=line)
        elif unit is None:
            yield Problem((), f"{name} without a unit",
                          f"{name} [{units.preferred(COLUMNS[name])}]",
                          "the unit stands in the heading, in square brackets", line=line)
        else:
            yield from _unit_amiss(line, name, unit)
    for name in NEEDED:
        if name not in names:
            yield Problem((), f"no column {name}", f"the headings {_example()}", line=line)


def _unit_amiss(line: int, name: str, unit: str) -> Iterator[Problem]:
    kind = COLUMNS[name]
    try:
        units.unit_of(unit, kind)
    except UnitError as error:
        yield Problem((), f"{name} in {units.quoted(unit)}",
                      f"one of {', '.join(units.KINDS[kind])}", error.hint, line=line)


def _cells_amiss(rows: list[Row], names: list[str]) -> Iterator[Problem]:
    for line, cells in rows:
        n = len(names)
        if len(cells) != n:
            yield Problem((), f"{len(cells)} values in a row", f"{n}, one for each heading",
                          "decimals take a point" if len(cells) > n else "", line=line)
            continue
        for name, cell in zip(names, cells, strict=True):
            if not NUMBER.fullmatch(cell) and (cell or name in NEEDED):
                hint = "the unit stands in the heading" if cell[:1].isdigit() else ""
                got = units.quoted(cell) if cell else "an empty cell"
                yield Problem((), f"{got} under {name}", "a number", hint, line=line)


def _curves(rows: list[Row], headings: list[tuple[str, str | None]]) -> Sheet:
    """Rows put together by opening."""
    names = [name for name, _ in headings]
    unit = {name: str(word) for name, word in headings}
    grouped: dict[float, list[tuple[int, dict[str, str]]]] = {}
    for line, cells in rows:
        row = dict(zip(names, cells, strict=True))
        grouped.setdefault(float(row["opening"]), []).append((line, row))
    ordered = sorted(grouped.items())
    curves = [_curve([row for _, row in points], unit) for _, points in ordered]
    found = [problem for _, points in ordered for problem in _stalls_amiss(points)]
    return Sheet(curves, [[line for line, _ in points] for _, points in ordered], found)


def _curve(points: list[dict[str, str]], unit: dict[str, str]) -> dict[str, Any]:
    curve: dict[str, Any] = {"opening": f"{points[0]['opening']} {unit['opening']}"}
    for name in NEEDED[1:]:
        curve[name] = {"unit": unit[name], "values": [float(row[name]) for row in points]}
    stall = next((row["stall_flow"] for row in points if row.get("stall_flow")), None)
    return curve if stall is None else curve | {"stall_flow": f"{stall} {unit['stall_flow']}"}


def _stalls_amiss(points: list[tuple[int, dict[str, str]]]) -> Iterator[Problem]:
    given = [(line, row["stall_flow"]) for line, row in points if row.get("stall_flow")]
    for line, stall in given[1:]:
        if float(stall) != float(given[0][1]):
            yield Problem((), f"a stall_flow of {stall} beside {given[0][1]} in line {given[0][0]}",
                          "one stall_flow for each opening", line=line)
            return
