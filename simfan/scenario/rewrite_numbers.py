"""Changed numbers written into a scenario's text: every other line and comment stays as it is."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from simfan.errors import RunError
from simfan.plant.varied import found
from simfan.scenario.lines import Path as Key
from simfan.scenario.lines import key_spans
from simfan.scenario.reader import load
from simfan.scenario.rewrite import bare, ending_of, into, put, tried
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
    ending = ending_of(text)
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
        if (made := into(text, key[:depth], key[depth:], pair)) is not None:
            return made
    ending = ending_of(text)
    head = ".".join(bare(k) for k in key[:-1])
    return f"{text.rstrip()}{ending}{ending}[{head}]{ending}{pair}{ending}"
