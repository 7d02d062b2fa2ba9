"""Reads a trend in blocks of lines: what is kept is a number for each mapped cell, and its line."""

import csv
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

import numpy as np

from simfan import units
from simfan.errors import UnitError
from simfan.trends.cells import Cells, Numbers
from simfan.trends.complaints import Complaints
from simfan.trends.mapping import Column, Reading
from simfan.trends.quick import Quick
from simfan.trends.room import Room, each, finite, median, parts, slices, steps
from simfan.trends.source import Source, source
from simfan.trends.steady_clock import Timed, timed
from simfan.trends.times import Times
from simfan.trends.trend import Array, Gap, Trend

BLOCK = 20_000
"""Lines read at once."""
USUAL_TIMES = 5.0
"""So many usual intervals make a gap where nothing is said. An assumption."""
Progress = Callable[[int], None]
"""Is called with the lines read so far."""


@dataclass
class _Kept:
    """Blocks as they come."""

    values: dict[str, Room]
    time: Room = field(default_factory=Room)
    lines: Room = field(default_factory=Room)


def read(path: str | Path, reading: Reading, progress: Progress | None = None) -> Trend:
    """The trend of this file. Raises ScenarioError that tells, by kind and line, all that is amiss.
    """
    found = source(path, reading.time, reading.time_name)
    reader = _Reader(found, reading, Complaints(found.path.name))
    reader.all_rows(progress)
    reader.complaints.refuse()
    return reader.trend()


class _Reader:
    """One file on its way to numbers."""

    def __init__(self, found: Source, reading: Reading, complaints: Complaints) -> None:
        self.source, self.reading, self.complaints = found, reading, complaints
        self.notes: list[str] = []
        self.kept = _Kept({c.signal: Room() for c in reading.columns})
        self.numbers = Numbers(found.separator == ",", reading.bad, complaints)
        self.times = Times(reading, complaints)
        self.places = {c.signal: self._place(c.key, c.text, c.name) for c in reading.columns}
        self.quality = {c.signal: self._place(f"quality.{c.key}", c.quality)
                        for c in reading.columns if c.quality}
        if reading.row_quality:
            self.quality[""] = self._place("quality.time", reading.row_quality)
        self.time_place = self._place("time", reading.time, reading.time_name)
        self.not_good: dict[str, Counter[str]] = {}
        self.factors = {c.signal: c for c in reading.columns}
        complaints.refuse()
        texts, numbers = list(self.quality.values()), list(self.places.values())
        (numbers if self.times.counted else texts).append(self.time_place)
        self.quick = Quick(found, numbers, texts)

    def _place(self, key: str, *names: str) -> int:
        """The one column with this heading; what is wrong with that is complained of."""
        places = self.source.place(*names)
        if len(places) == 1:
            return places[0]
        line = self.source.heading_line
        if places:
            self.complaints.add(f"twice {key}", line, "the heading "
                                f"{units.quoted(self.source.headings[places[0]])} {len(places)} "
                                "times", "each heading once")
        else:
            self.complaints.add(f"column {key}", line, f"no column {units.quoted(names[0])} for "
                                f"{key}", "a heading of the file", self.source.near(*names))
        return -1

    def all_rows(self, progress: Progress | None) -> None:
        """Block by block, to the end of the file."""
        line = self.source.heading_line
        if line > 1:
            self.notes.append(f"headings are in line {line}; what stands above is left out")
        with self.source.open() as file:
            while lines := list(islice(file, BLOCK)):
                self._block(lines, line + 1)
                line += len(lines)
                if progress:
                    progress(line)

    def _block(self, lines: list[str], first: int) -> None:
        numbers = np.arange(first, first + len(lines), dtype=np.int64)
        if any(not line.strip() or line[0] == "#" for line in lines):
            keep = [bool(line.strip()) and line[0] != "#" for line in lines]
            numbers = numbers[keep]
            lines = [line for line, kept in zip(lines, keep, strict=True) if kept]
        if not lines:
            return
        if not self.kept.time:
            lines, numbers = self._without_units(lines, numbers)
        cells = self.quick.table(lines, self.numbers) if lines else None
        if cells is None:
            rows, numbers = self._rows(lines, numbers)
            cells = {place: [row[place] for row in rows] for place in self.quick.places}
        if len(numbers):
            self._columns(cells, numbers)

    def _without_units(self, lines: list[str], numbers: Array) -> tuple[list[str], Array]:
        row = next(self.source.rows(lines[:1]), [])
        units_first = len(row) == len(self.source.headings) and self._is_units(row, int(numbers[0]))
        return (lines[1:], numbers[1:]) if units_first else (lines, numbers)

    def _rows(self, lines: list[str], numbers: Array) -> tuple[list[list[str]], Array]:
        """Rows of cells as wide as the headings; others are complained of."""
        try:
            rows = list(self.source.rows(lines))
        except csv.Error as error:
            self.complaints.add("table", _doubtful(lines, numbers), "a text that is no table "
                                f"({error})", "comma-separated values",
                                "look for a lonely quotation mark")
            return [], numbers[:0]
        if len(rows) != len(lines):
            self.complaints.add("table", _doubtful(lines, numbers), "a cell over several lines",
                                "a line for each row", "look for a lonely quotation mark")
            return [], numbers[:0]
        width = len(self.source.headings)
        keep = np.ones(len(rows), dtype=bool)
        for k in (k for k, row in enumerate(rows) if len(row) != width):
            while len(rows[k]) > width and not rows[k][-1].strip():
                rows[k].pop()
            if len(rows[k]) != width:
                keep[k] = False
                self._width_amiss(rows[k], width, int(numbers[k]))
        return [row for row, kept in zip(rows, keep, strict=True) if kept], numbers[keep]

    def _width_amiss(self, row: list[str], width: int, line: int) -> None:
        hint = ""
        if len(row) > width and self.source.separator == ",":
            hint = "decimals take a point where commas part the columns"
        self.complaints.add("width", line, f"{len(row)} values in a row",
                            f"{width}, one for each heading", hint)

    def _is_units(self, row: list[str], line: int) -> bool:
        """Whether the first row tells units; one that is not the mapping's is complained of."""
        cells = {signal: row[place].strip(" []()") for signal, place in self.places.items()}
        if self.times.is_time(row[self.time_place]) or any(
                c[:1].isdigit() or (c[:1] in "+-." and c[1:2].isdigit())
                for c in cells.values()):
            return False
        if not any(cells.values()):
            return False
        for signal, cell in cells.items():
            self._unit_amiss(self.factors[signal], cell, line)
        self.notes.append(f"line {line} tells units and is no sample")
        return True

    def _unit_amiss(self, column: Column, cell: str, line: int) -> None:
        try:
            said = units.unit_of(cell, column.kind)
        except UnitError:
            return
        meant = units.unit_of(column.unit, column.kind)
        if said != meant:
            self.complaints.add(f"unit {column.key}", line, f"{units.quoted(cell)} under "
                                f"{column.name}", f"{column.unit}, as trend.columns.{column.key} "
                                "says")

    def _columns(self, cells: Mapping[int, Cells], lines: Array) -> None:
        time = self.times.seconds(cells[self.time_place], lines, self.numbers)
        whole_row = self._good("", cells)
        for signal, place in self.places.items():
            found = cells[place]
            values = found if isinstance(found, np.ndarray) else self.numbers.column(
                self.factors[signal].name, found, lines)
            values = values * self.factors[signal].factor + self.factors[signal].offset
            for good in (whole_row, self._good(signal, cells)):
                if good is not None:
                    values[~good] = np.nan
            self.kept.values[signal].add(values)
        self.kept.time.add(time)
        self.kept.lines.add(lines.astype(np.int32))

    def _good(self, signal: str, cells: Mapping[int, Cells]) -> Array | None:
        """Which samples the column of quality calls good; None where there is no such column."""
        if signal not in self.quality:
            return None
        words = [str(cell).strip().casefold() for cell in cells[self.quality[signal]]]
        counted = Counter(words)
        good = np.array([word in self.reading.good for word in words])
        counts = self.not_good.setdefault(signal, Counter())
        counts.update({word: n for word, n in counted.items() if word not in self.reading.good})
        return good

    def trend(self) -> Trend:
        """All blocks together. Raises ScenarioError where time does not rise."""
        if not self.kept.time:
            self.complaints.add("rows", self.source.heading_line, "no rows of numbers",
                                "two rows at least below the headings")
        self.complaints.refuse()
        signals = {signal: room.whole() for signal, room in self.kept.values.items()}
        even = timed(self.kept.time.whole(), self.kept.lines.whole(), signals, self.times,
                     self.complaints)
        self.complaints.refuse()
        return self._told(even)

    def _told(self, even: Timed) -> Trend:
        time, signals = even.time, even.signals
        notes = [*self.notes, *even.notes, *self._decimal_note(), *self._quality_notes()]
        usual = median(lambda: steps(parts(time)))
        longest = self.reading.longest_interval_s or USUAL_TIMES * usual
        count = {name: sum(map(len, finite(values))) for name, values in signals.items()}
        notes += [f"{name}: {len(time) - n} of {len(time)} samples are missing or bad"
                  for name, n in count.items() if n < len(time)]
        known = {name: values for name, values in signals.items() if count[name]}
        notes += [f"{name}: no good sample at all, as if there were no such column"
                  for name in signals if name not in known]
        good = {name: _good(values, count[name]) for name, values in known.items()}
        gaps = [*_gaps(parts(time), longest, "")]
        for name in known:
            if count[name] < len(time):
                gaps += _gaps((time[rows][good[name][rows]] for rows in slices(len(time))), longest,
                              name, gaps)
        return Trend(self.source.path.name, time, known, good,
                     tuple(sorted(gaps, key=lambda g: (g.start_s, g.signal))), tuple(notes),
                     usual, longest, even.began)

    def _decimal_note(self) -> list[str]:
        return ["decimals take a comma in this file"] if self.numbers.decimal == "," else []

    def _quality_notes(self) -> list[str]:
        return [f"{signal or 'whole rows'}: taken for bad, as their quality is "
                + ", ".join(f"{units.quoted(word)} ({n})" for word, n in counts.most_common(5))
                for signal, counts in self.not_good.items() if counts]


def _doubtful(lines: Sequence[str], numbers: Array) -> int:
    """The first line with a quotation mark that has no other, or too long for a cell, if any."""
    return next((int(n) for n, line in zip(numbers, lines, strict=True)
                 if line.count('"') % 2 or len(line) > csv.field_size_limit()), int(numbers[0]))


def _good(values: Array, count: int) -> Array:
    """(n,) bool, with nothing kept where all are good."""
    return np.broadcast_to(True, len(values)) if count == len(values) else each(np.isfinite, values)


def _gaps(time: Iterable[Array], longest: float, signal: str, known: Sequence[Gap] = ()
          ) -> list[Gap]:
    """Intervals longer than `longest`, save those that are known of the file itself."""
    seen = {(g.start_s, g.end_s) for g in known if not g.signal}
    found, before = [], np.empty(0)
    for block in time:
        at = np.concatenate([before, block])
        found += [Gap(float(at[k]), float(at[k + 1]), signal)
                  for k in np.flatnonzero(np.diff(at) > longest)]
        before = at[-1:]
    return [gap for gap in found if (gap.start_s, gap.end_s) not in seen]
