"""Read a scenario file: text → tables → descriptions, each stage telling all of its mistakes."""

import tomllib
from collections.abc import Iterable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from stat import S_ISDIR, S_ISREG
from typing import Any

from pydantic import ValidationError

from simfan.errors import Problem, ScenarioError
from simfan.plant.case import Case
from simfan.plant.quantities import FROM_FILE
from simfan.scenario import sentences
from simfan.scenario.lines import key_lines, line_of
from simfan.scenario.partial import further_problems
from simfan.scenario.syntax import syntax_problem

LARGEST_FILE = 200_000
"""[bytes]; a scenario of a dozen strategies and a hundred events is a tenth of it."""

MOST_DOTS = 2000
"""In one line: the reading of a dotted key takes a time that grows with the square of its parts."""


def load(path: str | Path) -> Case:
    """The case that the file describes. Raises ScenarioError with every mistake found."""
    name = Path(path).name or str(path)
    try:
        return _case(_tables(_text(path)))
    except ScenarioError as error:
        raise ScenarioError(place(error.problems, path)) from None
    except RecursionError:
        problem = Problem((), "lists or tables within one another, too deep to read",
                          "the nesting that a scenario needs", file=name)
        raise ScenarioError([problem]) from None


def place(problems: Iterable[Problem], path: str | Path) -> list[Problem]:
    """The problems with the file's name and the line of their key, in the order of the file."""
    name = Path(path).name or str(path)
    try:
        lines = key_lines(_checked_toml(_text(path)))
    except (ScenarioError, RecursionError):
        lines = {}
    placed = [replace(p, file=name, line=p.line or line_of(p.path, lines)) for p in problems]
    return sorted(placed, key=lambda p: p.line or 0)


def fingerprint(source: str | Path) -> str:
    """A short name for the exact content: of a file, given its `Path`; of a text, given a str.

    The first 16 hexadecimal digits of the SHA-256.
    """
    content = source.read_bytes() if isinstance(source, Path) else source.encode()
    return sha256(content).hexdigest()[:16]


def _case(tables: dict[str, Any]) -> Case:
    try:
        return Case.model_validate(tables, context=FROM_FILE)
    except ValidationError as error:
        found = sentences.problems(error)
    raise ScenarioError(found + further_problems(tables, {problem.path for problem in found}))


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


def _checked_toml(text: str) -> str:
    _tables(text)
    return text.replace("\r\n", "\n")


def _text(path: str | Path) -> str:
    """The file's text. Raises ScenarioError where it cannot be read as text."""
    content = _bytes(path)
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _unreadable("text in UTF-16", "text in UTF-8", "save it again as UTF-8")
    if b"\0" in content:
        raise _unreadable("a binary file", "a text file in UTF-8")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problem = Problem((), "a character that is not UTF-8", "text in UTF-8",
                          "save the file again as UTF-8", line=line)
        raise ScenarioError([problem]) from None


def _bytes(path: str | Path) -> bytes:
    """The file's bytes; only of an ordinary file, since reading a pipe could wait for ever."""
    try:
        status = Path(path).stat()
        if S_ISDIR(status.st_mode):
            raise _unreadable("a folder", "a scenario file")
        if not S_ISREG(status.st_mode):
            raise _unreadable("something that is not an ordinary file", "a scenario file")
        if status.st_size > LARGEST_FILE:
            raise _unreadable(f"a file of {status.st_size // 1000} kB",
                              f"a scenario of at most {LARGEST_FILE // 1000} kB")
        return Path(path).read_bytes()
    except FileNotFoundError:
        raise _unreadable("no file of this name", "a scenario file", _neighbours(path)) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise _unreadable(f"a file that cannot be read ({why})", "a readable file") from None


def _neighbours(path: str | Path) -> str:
    """A hint: the scenario files that do stand in that folder."""
    try:
        names = sorted(p.name for p in Path(path).parent.glob("*.toml"))
    except (OSError, ValueError):
        names = []
    return f"there is {', '.join(names[:5])}" if names else ""


def _unreadable(got: str, allowed: str, hint: str = "") -> ScenarioError:
    return ScenarioError([Problem((), got, allowed, hint)])
