"""A load profile in a sheet: comma-separated values, a time and a demand in each row.

    time, demand [m3/s]              time [h], demand [m3/s]
    2025-01-01T00:00, 38.5           0, 38.5
    2025-01-01T01:00, 37.9           1, 37.9

A demand holds until the next row; the last holds for one step. Steps are even: a gap is a mistake,
since nobody knows what was wanted in it. Lines that begin with # are comments.
"""

import csv
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from difflib import get_close_matches
from itertools import pairwise
from typing import Any

from simfan import units
from simfan.errors import Problem, UnitError
from simfan.plant.held import HELD
from simfan.plant.year import MOST_VALUES
from simfan.scenario.sheet import MOST_TOLD, NUMBER, Row, headings_of, rows_of

COLUMNS = ("time", "demand")
UNEVEN = 0.01
"""Of a step; numbers of few digits make steps that differ a little."""
CLOCK = "; where the clock was changed, write an offset such as +01:00 in each time stamp"

Headings = list[tuple[str, str | None]]


@dataclass(frozen=True)
class ProfileSheet:
    """A load profile as the table of a scenario, or what is wrong with its sheet."""

    table: dict[str, Any] = field(default_factory=dict)
    lines: list[list[int]] = field(default_factory=list)
    """Of each value, one."""
    problems: list[Problem] = field(default_factory=list)
    """Without a path; each with its line."""


def read_profile(text: str) -> ProfileSheet:
    """The load profile in this text."""
    try:
        rows = rows_of(text)
    except csv.Error as error:
        return _refused([Problem((), f"a text that is no table ({error})",
                                 "comma-separated values")])
    if len(rows) < 3:
        return _refused([Problem((), f"{max(0, len(rows) - 1)} rows of numbers",
                                 "a line of headings, time, demand [m3/s], and two rows at least",
                                 line=rows[0][0] if rows else None)])
    if len(rows) - 1 > MOST_VALUES:
        return _refused([Problem((), f"{len(rows) - 1} rows", f"at most {MOST_VALUES} rows")])
    headings = headings_of(rows[0])
    found = [*_headings_amiss(rows[0][0], headings)] or [*_widths_amiss(rows[1:], len(headings))]
    return _refused(found) if found else _read(rows[1:], headings)


def _refused(problems: list[Problem]) -> ProfileSheet:
    return ProfileSheet(problems=problems[:MOST_TOLD])


def _read(rows: list[Row], headings: Headings) -> ProfileSheet:
    unit = dict(headings)
    at, of = ([name for name, _ in headings].index(column) for column in COLUMNS)
    times: list[tuple[int, str]] = [(line, cells[at]) for line, cells in rows]
    starts, found = _seconds(times, unit["time"])
    found += [problem for line, cells in rows for problem in _demand_amiss(line, cells[of])]
    steps = [] if found else [after - before for before, after in pairwise(starts)]
    found += _steps_amiss(times, steps, stamps=unit["time"] is None)
    if found:
        return _refused(sorted(found, key=lambda p: p.line or 0))
    hours = [step / 3600.0 for step in (*steps, _usual(steps))]
    demand = {"unit": unit["demand"], "values": [float(cells[of]) for _, cells in rows]}
    return ProfileSheet({"demand": demand, "hours": hours}, [[line] for line, _ in rows])


def _headings_amiss(line: int, headings: Headings) -> Iterator[Problem]:
    names = [name for name, _ in headings]
    if len(names) == 1 and ";" in names[0]:
        yield Problem((), "columns parted by semicolons", "columns parted by commas",
                      "decimals take a point", line=line)
        return
    for place, (name, unit) in enumerate(headings):
        if name not in COLUMNS:
            near = get_close_matches(name, COLUMNS, n=1, cutoff=0.6)
            yield Problem((), f"an unknown column {units.quoted(name)}", ", ".join(COLUMNS),
                          f"did you mean {near[0]}?" if near else "", line=line)
        elif name in names[:place]:
            yield Problem((), f"the column {name} twice", "each column once", line=line)
        else:
            yield from _unit_amiss(line, name, unit)
    for name in COLUMNS:
        if name not in names:
            yield Problem((), f"no column {name}", "the headings time, demand [m3/s]", line=line)


def _unit_amiss(line: int, name: str, unit: str | None) -> Iterator[Problem]:
    """A time without a unit is a time stamp; a demand is of one of the kinds a loop holds."""
    kinds = ("time",) if name == "time" else tuple(HELD)
    if unit is None:
        if name == "demand":
            yield Problem((), "demand without a unit",
                          " or ".join(f"demand [{units.preferred(kind)}]" for kind in HELD),
                          "the unit stands in the heading, in square brackets", line=line)
        return
    hints = []
    for kind in kinds:
        try:
            units.unit_of(unit, kind)
            return
        except UnitError as error:
            hints.append(error.hint)
    known = ", ".join(name for kind in kinds for name in units.KINDS[kind])
    hint = "time stamps take no unit" if name == "time" else hints[0].split(", not of ")[0]
    yield Problem((), f"{name} in {units.quoted(unit)}", f"one of {known}", hint, line=line)


def _widths_amiss(rows: list[Row], n: int) -> Iterator[Problem]:
    for line, cells in rows:
        if len(cells) != n:
            yield Problem((), f"{len(cells)} values in a row", f"{n}, one for each heading",
                          "decimals take a point" if len(cells) > n else "", line=line)


def _demand_amiss(line: int, cell: str) -> Iterator[Problem]:
    if not NUMBER.fullmatch(cell):
        got = units.quoted(cell) if cell else "an empty cell"
        yield Problem((), f"{got} under demand", "a number", "the unit stands in the heading"
                      if cell[:1].isdigit() else "" if cell else "a fan that stands still has a "
                      "demand of 0", line=line)


def _seconds(times: list[tuple[int, str]], unit: str | None) -> tuple[list[float], list[Problem]]:
    """Times from the first row, and what is no time."""
    return _counted(times, unit) if unit is not None else _stamped(times)


def _counted(times: list[tuple[int, str]], unit: str) -> tuple[list[float], list[Problem]]:
    factor = units.unit_of(unit, "time").factor
    found = [Problem((), f"{units.quoted(cell) if cell else 'an empty cell'} under time",
                     f"a number, in {unit}", "time stamps stand under time without a unit"
                     if cell.count("-") > 1 else "", line=line)
             for line, cell in times if not NUMBER.fullmatch(cell)]
    return [] if found else [factor * float(cell) for _, cell in times], _once(found, times)


def _stamped(times: list[tuple[int, str]]) -> tuple[list[float], list[Problem]]:
    stamps: list[datetime] = []
    found: list[Problem] = []
    for line, cell in times:
        stamp = _stamp(cell)
        if stamp is None:
            hint = "a counted time has its unit in the heading: time [h]"
            found.append(Problem((), f"{units.quoted(cell) if cell else 'an empty cell'} under "
                                 "time", "a time stamp of ISO 8601, such as 2025-01-31T06:00",
                                 hint if NUMBER.fullmatch(cell) else "", line=line))
        elif stamps and (stamp.tzinfo is None) != (stamps[0].tzinfo is None):
            found.append(Problem((), f"{units.quoted(cell)} under time", "all time stamps with an "
                                 "offset such as +01:00, or none", line=line))
        else:
            stamps.append(stamp)
    found = _once(found, times)
    return [] if found else [(stamp - stamps[0]) / timedelta(seconds=1) for stamp in stamps], found


def _once(found: list[Problem], times: list[tuple[int, str]]) -> list[Problem]:
    """One sentence where every row has the same fault, which then is one of the heading."""
    return found[:1] if len(found) == len(times) else found


def _stamp(cell: str) -> datetime | None:
    """A date of ISO 8601, with or without a time; 20250131 could be a number."""
    try:
        return datetime.fromisoformat(cell) if cell[4:5] == "-" else None
    except ValueError:
        return None


def _usual(steps: list[float]) -> float:
    """The step between most rows [s]."""
    return Counter(round(step, 3) for step in steps).most_common(1)[0][0]


def _steps_amiss(times: list[tuple[int, str]], steps: list[float], stamps: bool
                 ) -> list[Problem]:
    """Rows that do not follow one step after the row before."""
    rising = [step for step in steps if step > 0.0]
    usual = _usual(rising) if rising else 0.0
    return [_step_amiss(times[k], times[k + 1], step, usual, stamps)
            for k, step in enumerate(steps)
            if step <= 0.0 or abs(step - usual) > UNEVEN * usual]


def _step_amiss(before: tuple[int, str], row: tuple[int, str], step: float, usual: float,
                stamps: bool) -> Problem:
    clock = stamps and abs(abs(step - usual) - 3600.0) < 1.0
    hint = CLOCK if clock else ""
    if step <= 0.0:
        return Problem((), f"{row[1]} after {before[1]}",
                       "each time after the one before it" + hint, line=row[0])
    allowed = f"steps of {_span(usual)}, as between most rows"
    if step < usual:
        return Problem((), f"{row[1]} only {_span(step)} after {before[1]}", allowed, line=row[0])
    return Problem((), f"a gap of {_span(step)} before {row[1]}", allowed,
                   "nothing is filled in: nobody knows what was wanted then" + hint, line=row[0])


def _span(time: float) -> str:
    """A length of time as people tell it."""
    unit, of = next(((u, s) for u, s in (("h", 3600.0), ("min", 60.0)) if time >= s), ("s", 1.0))
    return f"{time / of:g} {unit}"
