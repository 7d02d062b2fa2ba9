"""A trend's file: its encoding, what parts its columns, and where its headings stand."""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import islice
from pathlib import Path
from stat import S_ISDIR, S_ISREG
from typing import TextIO

from simfan import units
from simfan.errors import Problem, ScenarioError

SEPARATORS = (";", "\t", ",", "|")
PREAMBLE = 60
"""Lines among which the headings are sought."""
LOOKED_AT = 65536
"""Bytes by which the encoding is told."""
WANTED = "a table of comma-separated values"
BINARY = {b"PK": "save the sheet of a workbook as CSV; unpack an archive",
          b"\x1f\x8b": "unpack it first, as by gunzip"}
"""First bytes of a file that is no text → hint."""


@dataclass(frozen=True)
class Source:
    """Where the numbers begin."""

    path: Path
    encoding: str
    separator: str
    headings: tuple[str, ...]
    heading_line: int

    def open(self) -> TextIO:
        """The file, in front of the first row below the headings."""
        file = self.path.open(encoding=self.encoding, errors="replace", newline="")
        for _ in islice(file, self.heading_line):
            pass
        return file

    def rows(self, lines: Sequence[str]) -> Iterator[list[str]]:
        """The cells of lines. Raises csv.Error."""
        return csv.reader(lines, delimiter=self.separator, skipinitialspace=True, strict=True)

    def place(self, *names: str) -> list[int]:
        """Columns with one of these headings; letters' case and spaces do not matter."""
        for same in (str.strip, _plain):
            wanted = {same(name) for name in names}
            if found := [i for i, cell in enumerate(self.headings) if same(cell) in wanted]:
                return found
        return []

    def near(self, *names: str) -> str:
        """A hint: the heading that is most like one of these, or all of them."""
        for name in names:
            if close := get_close_matches(name, self.headings, n=1, cutoff=0.6):
                return f"did you mean {units.quoted(close[0])}?"
        known = ", ".join(units.quoted(cell) for cell in self.headings[:30] if cell)
        return f"the file has {known}" + (" ..." if len(self.headings) > 30 else "")


def source(path: str | Path, time: str, *names: str) -> Source:
    """The file with its headings, found by that of the column of time. Raises ScenarioError."""
    file = Path(path)
    encoding = _encoding(_head(file), file.name)
    with file.open(encoding=encoding, errors="replace", newline="") as text:
        lines = list(islice(text, PREAMBLE))
    for number, line in enumerate(lines, start=1):
        for separator in SEPARATORS:
            cells = _cells(line, separator)
            found = Source(file, encoding, separator, tuple(cells), number)
            if len(cells) > 1 and found.place(time, *names):
                return found
    raise ScenarioError([_no_time(file.name, lines, time)])


def _head(path: Path) -> bytes:
    """The first bytes of an ordinary file."""
    try:
        mode = path.stat().st_mode
        if S_ISDIR(mode) or not S_ISREG(mode):
            what = "a folder" if S_ISDIR(mode) else "something that is not an ordinary file"
            raise _unreadable(path.name, what, WANTED)
        with path.open("rb") as file:
            return file.read(LOOKED_AT)
    except FileNotFoundError:
        near = sorted(p.name for p in path.parent.glob("*.csv"))[:5]
        raise _unreadable(path.name or str(path), "no file of this name", WANTED,
                          f"there is {', '.join(near)}" if near else "") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise _unreadable(path.name or str(path), f"a file that cannot be read ({why})",
                          "a readable file") from None


def _encoding(head: bytes, name: str) -> str:
    """UTF-8 or UTF-16 where the file says so; Windows' Western European letters where it is not
    UTF-8."""
    if not head.strip():
        raise _unreadable(name, "an empty file", WANTED)
    if head.startswith((b"\xff\xfe\0\0", b"\0\0\xfe\xff")):
        return "utf-32"
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if b"\0" in head:
        hint = next((h for start, h in BINARY.items() if head.startswith(start)),
                    "text is to be saved as UTF-8")
        raise _unreadable(name, "a binary file", WANTED, hint)
    whole = head[:head.rfind(b"\n") + 1] or head
    try:
        whole.decode("utf-8-sig")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def _cells(line: str, separator: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator,
                                                         skipinitialspace=True), [])]
    except csv.Error:
        return []


def _plain(name: str) -> str:
    return "".join(name.split()).casefold()


def _no_time(name: str, lines: list[str], time: str) -> Problem:
    """The line with the most cells is taken for the headings."""
    most = max(((_cells(line, s), n) for n, line in enumerate(lines, start=1) for s in SEPARATORS),
               key=lambda found: len(found[0]), default=([], 1))
    cells, line = most
    near = get_close_matches(time, cells, n=1, cutoff=0.5)
    hint = (f"did you mean {units.quoted(near[0])}?" if near else
            f"this line has {', '.join(units.quoted(c) for c in cells[:12] if c)}")
    return Problem((), f"no column {units.quoted(time)}", "the heading of the column of time among "
                   f"the first {PREAMBLE} lines", hint, line, name)


def _unreadable(file: str, got: str, allowed: str, hint: str = "") -> ScenarioError:
    return ScenarioError([Problem((), got, allowed, hint, None, file)])
