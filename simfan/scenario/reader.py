"""Read a scenario file: text → tables → descriptions, each stage telling all of its mistakes."""

import tomllib
from collections.abc import Iterable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from simfan.errors import Problem, ScenarioError
from simfan.plant.case import Case
from simfan.plant.quantities import FROM_FILE
from simfan.scenario import sentences
from simfan.scenario.families import Families, families_named, with_families
from simfan.scenario.lines import key_lines, line_of
from simfan.scenario.partial import further_problems
from simfan.scenario.syntax import syntax_problem
from simfan.scenario.textfile import text_of

LARGEST_FILE = 200_000
"""[bytes]; a scenario of a dozen strategies and a hundred events is a tenth of it."""

MOST_DOTS = 2000
"""In one line: the reading of a dotted key takes a time that grows with the square of its parts."""


def load(path: str | Path) -> Case:
    """The case that the file describes. Raises ScenarioError with every mistake found."""
    name = Path(path).name or str(path)
    try:
        return _case(with_families(_tables(_text(path)), Path(path).parent))
    except ScenarioError as error:
        raise ScenarioError(place(error.problems, path)) from None
    except RecursionError:
        problem = Problem((), "lists or tables within one another, too deep to read",
                          "the nesting that a scenario needs", file=name)
        raise ScenarioError([problem]) from None


def place(problems: Iterable[Problem], path: str | Path) -> list[Problem]:
    """The problems with file and line of their key, in the order of the file.

    A problem of a curve that the scenario takes from another file gets that file and its line.
    """
    name = Path(path).name or str(path)
    try:
        text = _text(path)
        families = with_families(_tables(text), Path(path).parent)
        lines = key_lines(text.replace("\r\n", "\n"))
    except (ScenarioError, RecursionError):
        families, lines = Families({}), {}
    placed = [families.place(problem) for problem in problems]
    placed = [p if p.file else replace(p, file=name, line=p.line or line_of(p.path, lines))
              for p in placed]
    return sorted(placed, key=lambda p: (p.file != name, p.file or "", p.line or 0))


def fingerprint(source: str | Path) -> str:
    """A short name for the exact content: of a file, given its `Path`; of a text, given a str.

    The first 16 hexadecimal digits of the SHA-256. A scenario's covers the files of curves that
    it names.
    """
    if isinstance(source, str):
        return sha256(source.encode()).hexdigest()[:16]
    content = source.read_bytes()
    try:
        named = families_named(tomllib.loads(content.decode("utf-8-sig")), source.parent)
    except (ValueError, RecursionError):
        named = []
    content += b"".join(file.read_bytes() for file in named if file.is_file())
    return sha256(content).hexdigest()[:16]


def _case(read: Families) -> Case:
    try:
        case = Case.model_validate(read.tables, context=FROM_FILE)
    except ValidationError as error:
        found = sentences.problems(error)
        found += further_problems(read.tables, {problem.path for problem in found})
        raise ScenarioError(read.problems + found) from None
    if read.problems:
        raise ScenarioError(read.problems)
    return case


def _tables(text: str) -> dict[str, Any]:
    if not text.strip():
        raise ScenarioError([Problem((), "an empty file", "a scenario",
                                     "`simfan new` writes one to start from")])
    if max(line.count(".") for line in text.splitlines()) > MOST_DOTS:
        raise ScenarioError([Problem((), f"more than {MOST_DOTS} dots in one line",
                                     "keys and numbers in lines of sensible length")])
    try:
        return tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError is one; so is a whole number of 5000 digits
        raise ScenarioError([syntax_problem(str(error), text)]) from None


def _text(path: str | Path) -> str:
    return text_of(path, "a scenario file", LARGEST_FILE)
