"""Changed numbers written into a scenario's text: every other line and comment stays as it is."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from simfan.errors import RunError
from simfan.plant.varied import found
from simfan.scenario.lines import Path as Key
from simfan.scenario.lines import key_lines, key_spans
from simfan.scenario.reader import load
from simfan.scenario.rewrite import put, tried
from simfan.scenario.written import quantity
from simfan.units import convert, significant

DIGITS = 5
CLOSE = 1e-4
"""Relative difference that so many digits may leave."""
_WRITTEN = re.compile(r"""(["'])\s*[-+0-9.eE_]+\s*(?P<unit>.+?)\s*\1\s*""")


class Changed(NamedTuple):
    """A number's new value [SI]; `kind` is that of its unit, None for a plain number."""

    value: float
    kind: str | None


def write_numbers(source: Path, numbers: Mapping[str, Changed], target: Path,
                  note: Sequence[str] = ()) -> Path | None:
    """Write the scenario of `source` with these numbers, by their paths, into `target`; the path at
    which what stood there before is kept, if anything did.

    A number keeps the unit that it is written in. `note` goes below as comment. The new text is
    read as a scenario first and its numbers held against what was asked. Raises RunError, with the
    target as it was, where that cannot be done.
    """
    text, case = source.read_bytes().decode("utf-8-sig"), load(source)
    for path, number in numbers.items():
        text = with_number(text, tuple(found(case, path)[0]), number)
    ending = _ending(text)
    text = text.rstrip("\r\n") + ending + "".join(
        f"{ending if not k else ''}# {line}{ending}" for k, line in enumerate(note))
    new = tried(target, text, "the fitted numbers")
    for path, number in numbers.items():
        value = found(new, path)[2]
        if abs(value - number.value) > CLOSE * max(abs(number.value), 1e-6):
            raise RunError(f"{target} was left as it was: {path} could not be written; by hand: "
                           f"{path} = {_text(number, None)}")
    return put(target, text)


def with_number(text: str, key: Key, number: Changed) -> str:
    """The text with this number in its place, else in the table that it belongs to, else in a table
    at the end."""
    spans = key_spans(text)
    if key in spans:
        _, start, end = spans[key]
        old = text[start:end]
        return text[:start] + _text(number, old) + old[len(old.rstrip()):] + text[end:]
    return _added(text, key, f"{key[-1]} = {_text(number, None)}")


def _text(number: Changed, old: str | None) -> str:
    """The value in the unit that stands there."""
    if number.kind is None:
        return significant(number.value, DIGITS)
    match = _WRITTEN.fullmatch(old or "")
    if match is None:
        plain, unit = quantity(number.value, number.kind).split(" ", 1)
        return f'"{float(plain):.{DIGITS}g} {unit}"'
    value = convert(number.value, number.kind, match["unit"])
    return f'"{_round(value)} {match["unit"]}"'


def _round(value: float) -> str:
    return significant(float(f"{value:.{DIGITS}g}"), DIGITS)


def _added(text: str, key: Key, pair: str) -> str:
    """A key of its own, in the nearest table above it that the file has."""
    for depth in range(len(key) - 1, 0, -1):
        if (made := _into(text, key[:depth], key[depth:], pair)) is not None:
            return made
    ending = _ending(text)
    head = ".".join(_bare(k) for k in key[:-1])
    return f"{text.rstrip()}{ending}{ending}[{head}]{ending}{pair}{ending}"


def _into(text: str, table: Key, rest: Key, pair: str) -> str | None:
    """The text with the pair in this table; None where the file has it not in one place."""
    spans = key_spans(text)
    if table in spans and text[spans[table][1]] == "{":
        brace = spans[table][1] + 1
        comma = "" if text[brace:].lstrip().startswith("}") else ","
        for k in reversed(rest[:-1]):
            pair = f"{_bare(k)} = {{ {pair} }}"
        return f"{text[:brace]} {pair}{comma}{text[brace:]}"
    rows, line = text.splitlines(keepends=True), key_lines(text).get(table)
    if not (line and re.match(r"\s*\[[^\[]", rows[line - 1]) and _heads(rows[line - 1], table)):
        return None
    ending = _ending(text)
    rows[line - 1] = rows[line - 1].rstrip("\r\n") + ending
    rows.insert(line, "".join(f"{_bare(k)}." for k in rest[:-1]) + pair + ending)
    return "".join(rows)


def _ending(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _bare(key: str | int) -> str:
    return str(key) if re.fullmatch(r"[\w-]+", str(key), re.A) else f'"{key}"'


def _heads(line: str, key: Key) -> bool:
    """Whether the line is the header of this very table."""
    return key_lines(f"{line.rstrip()}\nx = 1\n").get((*key, "x")) is not None
