"""A sheet as a file of comma-separated values, and back from what a spreadsheet made of it.

A spreadsheet may come back with semicolons, decimal commas, other quotes and empty columns. A cell
that it would take for a formula is written behind an apostrophe: a title such as "=1+1" stays words
(OWASP, "CSV Injection").
"""

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

from simfan.errors import Problem, ScenarioError
from simfan.sheets.sheet import LINE, Sheet

RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
"""First characters that make a spreadsheet read a formula or break a line, and the guard itself."""
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?")
DELIMITERS = (",", ";", "\t")
LARGEST = 5_000_000
"""[bytes] of one sheet."""


@dataclass(frozen=True)
class Found:
    """A row as it was found in a file."""

    place: int
    """Line of the file."""
    cells: dict[str, str]
    """Column → what stands there."""


def text(made: Sheet) -> str:
    """The sheet as the text of a file."""
    paper = io.StringIO()
    writer = csv.writer(paper, lineterminator="\r\n")
    writer.writerow(made.columns)
    writer.writerows([guarded(cell) for cell in row] for row in made.text)
    return paper.getvalue()


def guarded(cell: str) -> str:
    """The cell so that no spreadsheet takes it for a formula; a number stays one."""
    return f"'{cell}" if cell.startswith(RISKY) and not _NUMBER.fullmatch(cell) else cell


def read(path: Path, columns: tuple[str, ...]) -> dict[int, Found]:
    """Line of the sheet → row. Raises ScenarioError with every line that cannot be read."""
    words = _words(path)
    delimiter = _delimiter(words.split("\n", 1)[0], columns)
    try:
        rows = list(csv.reader(io.StringIO(words, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as why:
        raise _refused(path, 1, f"no table ({why})") from None
    heads = [_bare(h) for h in rows[0]] if rows else []
    if missing := [c for c in columns if c not in heads]:
        raise _refused(path, 1, f"no column {', '.join(missing)}", ", ".join(columns))
    places = [heads.index(c) for c in columns]
    return _rows(path, rows, columns, places, delimiter)


def _rows(path: Path, rows: list[list[str]], columns: tuple[str, ...], places: list[int],
          delimiter: str) -> dict[int, Found]:
    found: dict[int, Found] = {}
    amiss: list[Problem] = []
    for place, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        cells = {c: _cell(row[k] if k < len(row) else "", delimiter)
                 for c, k in zip(columns, places, strict=True)}
        line = _line(cells[LINE])
        if line is None:
            amiss.append(_problem(path, place, f'"{cells[LINE]}" as {LINE}', "a whole number",
                                  "the line numbers are how rows are known again"))
        elif line in found:
            amiss.append(_problem(path, place, f"line {line} once more", "each line once",
                                  f"it stands in row {found[line].place}, too"))
        else:
            found[line] = Found(place, cells)
    if amiss:
        raise ScenarioError(amiss)
    return found


def _line(word: str) -> int | None:
    """Such as 7 of "7", or of "7.0" where a spreadsheet made it so."""
    try:
        number = float(word)
        return int(number) if number == int(number) else None
    except (ValueError, OverflowError):
        return None


def _cell(word: str, delimiter: str) -> str:
    """Without the apostrophe, and with a decimal point."""
    bare = _bare(word)
    if delimiter != "," and _COMMA_NUMBER.fullmatch(bare):
        return bare.replace(",", ".")
    return bare


def _bare(word: str) -> str:
    word = word.strip(" \ufeff\u00a0").replace("\r\n", "\n")
    return word[1:] if word[:1] == "'" and word[1:].startswith(RISKY) else word


def _delimiter(head: str, columns: tuple[str, ...]) -> str:
    """The one at which most of the headings come apart."""
    def known(delimiter: str) -> int:
        cells = next(csv.reader([head.rstrip("\r")], delimiter=delimiter), [])
        return len({_bare(c) for c in cells} & set(columns))

    return max(DELIMITERS, key=known)


def _words(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST:
            raise _refused(path, None, "a file of more than 5 MB", "the sheet as it was written")
        content = path.read_bytes()
    except FileNotFoundError:
        raise _refused(path, None, "no such file", "the sheet as it was written",
                       "all sheets of the folder are read together") from None
    except OSError as why:
        raise _refused(path, None, f"a file that cannot be read: {why.strerror}") from None
    if b"\0" in content:
        raise _refused(path, None, "no text", "comma-separated values in UTF-8",
                       'save it as "CSV UTF-8"')
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def _problem(path: Path, place: int | None, got: str, allowed: str = "", hint: str = "") -> Problem:
    return Problem((), got, allowed, hint, place, path.name)


def _refused(path: Path, place: int | None, got: str, allowed: str = "", hint: str = ""
             ) -> ScenarioError:
    return ScenarioError([_problem(path, place, got, allowed, hint)])
