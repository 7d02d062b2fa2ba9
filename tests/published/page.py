"""docs/validation.md, made of what the checks compared: `python -m tests.published`."""

import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import ModuleType

from tests.published.record import Row, heading

HERE = Path(__file__).parent
PAGE = HERE.parents[1] / "docs" / "validation.md"
BEGIN, END = "<!-- begin: checks -->\n", "<!-- end: checks -->"
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
HEAD = "| Claim | Case | Expected | Got | Within |\n| --- | --- | --- | --- | --- |\n"

writing = False
"""Whether the page is written anew, in place of being compared."""
gathered: dict[ModuleType, list[Row]] = {}
"""Rows of each file of checks, in the order of the run."""
passed: Counter[ModuleType] = Counter()
"""Tests of each file that passed."""


@cache
def shown() -> dict[tuple[str, ...], list[str]]:
    """What was got, of every line of the page, by all else that the line says."""
    found: dict[tuple[str, ...], list[str]] = {}
    claim = ""
    for line in PAGE.read_text("utf-8").splitlines():
        cells = cut(line)
        if len(cells) == len(Row._fields):
            claim = cells[0] or claim
            found.setdefault((claim, *cells[1:3], cells[4]), []).append(cells[3])
    return found


def section_rows(module: ModuleType) -> list[str]:
    """Lines of the table of one file of checks."""
    mark = f"*`tests/published/{Path(str(module.__file__)).name}`*\n\n{HEAD}"
    _, _, rest = PAGE.read_text("utf-8").partition(mark)
    return rest.partition("\n\n")[0].splitlines()


def cut(line: str) -> list[str]:
    """The cells of a line of a table."""
    return [cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]]


def missing(rows: list[Row]) -> list[Row]:
    """Rows that the page does not show."""
    def stands(claim: str, what: str, expected: str, got: str, within: str) -> bool:
        return any(same(got, one) for one in shown().get((claim, what, expected, within), []))

    return [row for row in rows if not stands(*cut(str(row)))]


def same(one: str, other: str) -> bool:
    """Equal but for one unit of the last digit: it lies beyond the tolerance of the check, and
    platforms differ there."""
    if NUMBER.sub("#", one) != NUMBER.sub("#", other):
        return False
    return all(abs(float(a) - float(b)) < 1.01 * 10.0 ** -places(a)
               for a, b in zip(NUMBER.findall(one), NUMBER.findall(other), strict=True))


def places(number: str) -> int:
    """Decimals of a number as written."""
    return len(number.partition(".")[2])


def section(module: ModuleType, rows: list[Row]) -> str:
    """One file of checks: what it holds simfan to, and every comparison."""
    title, source = heading(module)
    file = Path(str(module.__file__)).name
    told = "\n".join(line if line.strip() else "" for line in source.splitlines())
    return (f"## {title}\n\n{told}\n\n*`tests/published/{file}`*\n\n{HEAD}"
            + "".join(f"{row}\n" for row in _each_claim_once(rows)))


def _each_claim_once(rows: list[Row]) -> Iterator[Row]:
    """The rows, a claim that goes on from the row before left out."""
    before = ""
    for row in rows:
        yield row._replace(claim="" if row.claim == before else row.claim)
        before = row.claim


def write() -> None:
    """Put the gathered sections between the marks of the page."""
    before, _, rest = PAGE.read_text("utf-8").partition(BEGIN)
    _, _, after = rest.partition(END)
    made = "\n".join(section(module, rows) for module, rows in
                     sorted(gathered.items(), key=lambda pair: str(pair[0].__file__)))
    PAGE.write_text(f"{before}{BEGIN}\n{made}\n{END}{after}", "utf-8")

