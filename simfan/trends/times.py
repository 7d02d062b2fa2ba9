"""The column of time as seconds: counted time, or time stamps of one form."""

import re
from collections.abc import Sequence
from math import isfinite

import numpy as np

from simfan import units
from simfan.trends import stamps
from simfan.trends.cells import Cells, Numbers
from simfan.trends.complaints import Complaints
from simfan.trends.mapping import Reading

Array = np.ndarray
EXAMPLES = '"2025-03-30 01:59:59.5", "30.03.2025 01:59:59,5" or "30-Mar-2025 1:59:59 AM"'


class Times:
    """Reads the column of time; learns the form of its stamps from the first block."""

    def __init__(self, reading: Reading, complaints: Complaints) -> None:
        self.reading, self.complaints = reading, complaints
        self.form: re.Pattern[str] | None = None
        self.stated_offset = False
        self.first = ""
        if reading.time_format is not None:
            self.form = self._written(reading.time_format)

    @property
    def counted(self) -> bool:
        """Whether time is counted in a unit."""
        return self.reading.time_unit is not None

    @property
    def local(self) -> bool:
        """Whether stamps are of a clock that may be changed."""
        return not self.counted and not self.stated_offset

    def is_time(self, cell: str) -> bool:
        """Whether a cell is a time of any form."""
        if self.counted:
            return _is_number(cell.strip().replace(",", "."))
        forms = [self.form] if self.form else list(stamps.FORMS.values())
        return any(form.fullmatch(cell.strip()) for form in forms)

    def seconds(self, cells: Cells, lines: Array, numbers: Numbers) -> Array:
        """(n,) [s]; nan for what is no time, which is complained of."""
        if self.counted:
            return self._counted(cells, lines, numbers)
        texts = np.char.strip(np.asarray(cells, dtype=str))
        self.first = self.first or str(texts[0])
        if self.form is None:
            self.form = self._learned(list(map(str, texts)), int(lines[0]))
        if self.form is None:
            return np.full(len(texts), np.nan)
        self.stated_offset |= stamps.offset_of(self.form, str(texts[0])) is not None
        try:
            return stamps.all_seconds(self.form, texts)
        except ValueError:
            return np.array([self._one(cell, int(line))
                             for cell, line in zip(map(str, texts), lines, strict=True)])

    def _counted(self, cells: Cells, lines: Array, numbers: Numbers) -> Array:
        found = cells if isinstance(cells, np.ndarray) else numbers.column(
            self.reading.time_name, cells, lines)
        for k in map(int, np.flatnonzero(np.isnan(found))):
            if isinstance(cells, np.ndarray) or numbers.is_missing(cells[k]):
                self._complain("" if isinstance(cells, np.ndarray) else cells[k], int(lines[k]))
        self.first = self.first or f"{found[0]:.10g}"
        return found * float(self.reading.time_unit or 1.0)

    def _learned(self, cells: Sequence[str], line: int) -> re.Pattern[str] | None:
        """The form that the block's stamps have."""
        seen = list(cells)
        name = stamps.form_of(seen[:: max(1, len(seen) // 500)])
        if not name and name is not None:
            self.complaints.add("form", line, f"{units.quoted(seen[0])}, which may be a day of "
                                "either month", "time stamps that can be read in one way",
                                'trend.time_format (or --time-format) says how, such as '
                                '"%d/%m/%Y %H:%M:%S"')
            return None
        if name is None:
            name = next((n for n, form in stamps.FORMS.items() if form.fullmatch(seen[0])), None)
        if name is None:
            hint = ('a counted time has its unit: trend.columns.time = "'
                    f'{self.reading.time_name} [s]"' if _is_number(seen[0]) else
                    "trend.time_format (or --time-format) tells another form")
            self.complaints.add("form", line, self._under(seen[0]),
                                f"time stamps such as {EXAMPLES}", hint)
            return None
        return stamps.FORMS[name]

    def _written(self, time_format: str) -> re.Pattern[str] | None:
        try:
            return stamps.written(time_format)
        except (ValueError, re.error) as why:
            self.complaints.add("format", None, f"the time_format {units.quoted(time_format)} "
                                f"({why})", "parts such as %Y-%m-%d %H:%M:%S, %b, %I, %p, %z")
            return None

    def _one(self, cell: str, line: int) -> float:
        assert self.form is not None
        try:
            value = stamps.seconds_of(self.form, cell)
        except ValueError:
            self._complain(cell, line)
            return np.nan
        return value - (stamps.offset_of(self.form, cell) or 0.0)

    def _complain(self, cell: str, line: int) -> None:
        self.complaints.add("time", line, self._under(cell), self._allowed(cell))

    def _allowed(self, cell: str) -> str:
        if self.counted:
            return "a number"
        if self.form and self.form.fullmatch(cell):
            return "a day and a time that exist"
        if self.reading.time_format:
            return f"a time stamp of the form {units.quoted(self.reading.time_format)}"
        return f"a time stamp like {units.quoted(self.first)}"

    def _under(self, cell: str) -> str:
        got = units.quoted(cell.strip()) if cell.strip() else "an empty cell"
        return f"{got} under {self.reading.time_name}"


def _is_number(text: str) -> bool:
    try:
        return isfinite(float(text))
    except ValueError:
        return False
