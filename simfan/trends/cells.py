"""Cells as numbers, one by one: decimal comma or point, words for a missing number, neither."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import nan

import numpy as np

from simfan import units
from simfan.trends.complaints import Complaints

Array = np.ndarray
SIGNS = {"\N{MINUS SIGN}": "-", "\N{NO-BREAK SPACE}": "", "\N{NARROW NO-BREAK SPACE}": ""}


LARGEST = 1e30
"""What is larger, in any unit, is no reading: recorders put such in place of one. An assumption."""

Cells = Array | list[str]
"""Numbers that are read, or the texts of one column."""


@dataclass
class Numbers:
    """Reads numbers of one file; learns whether its decimals take a comma."""

    comma_parts: bool
    """Whether commas part the columns, so that no decimal can have one."""
    bad: frozenset[str]
    """Words for a missing number, in small letters."""
    complaints: Complaints
    decimal: str = ""
    """"," or "." once one was seen."""

    def column(self, name: str, cells: Sequence[str], lines: Array) -> Array:
        """(n,) as the file has them, nan for what is missing; what is no number is complained of.
        """
        return np.array([self._number(name, cell, int(line))
                         for cell, line in zip(cells, lines, strict=True)])

    def is_missing(self, cell: str) -> bool:
        """Whether the cell stands for a number that is missing."""
        text = cell.strip()
        return not text or text.casefold() in self.bad

    def blanked(self, lines: Iterable[str], separator: str) -> list[str]:
        """Lines with nan in each cell that stands for a missing number."""
        return [separator.join(["nan" if (text := cell.strip()) == "" or text.casefold() in self.bad
                                else cell for cell in line.split(separator)]) for line in lines]

    def _number(self, name: str, cell: str, line: int) -> float:
        text = cell.strip()
        if self.is_missing(text):
            return nan
        for sign, plain in SIGNS.items():
            text = text.replace(sign, plain)
        if _is_number(text) and not ("." in text and self.decimal == ","):
            self.decimal = self.decimal or ("." if "." in text else "")
            return float(text)
        if self._with_comma(text):
            self.decimal = ","
            return float(text.replace(",", "."))
        self.complaints.add(f"text {name}", line, f"{units.quoted(cell.strip())} under {name}",
                            "a number, or nothing", self._hint(text))
        return nan

    def _with_comma(self, text: str) -> bool:
        return (not self.comma_parts and self.decimal != "." and text.count(",") == 1
                and "." not in text and _is_number(text.replace(",", ".")))

    def _hint(self, text: str) -> str:
        where = f"where it stands for a missing number: trend.bad = [{units.quoted(text)}]"
        if _size(text) > LARGEST:
            return where
        if any(c.isdigit() for c in text) and ("," in text or "." in text):
            return ("decimals take a point here, thousands take nothing" if self.comma_parts else
                    "decimals of one file take a point or a comma, thousands take nothing")
        if text[:1].isdigit() and not text[-1:].isdigit():
            return "the unit stands with the column"
        return where


def _is_number(text: str) -> bool:
    return "_" not in text and _size(text) <= LARGEST


def _size(text: str) -> float:
    """Of the number; nan for what is none."""
    try:
        return abs(float(text))
    except ValueError:
        return nan
