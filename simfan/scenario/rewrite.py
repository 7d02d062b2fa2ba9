"""A found sequence table, written into the scenario file: every other line stays as it is, and the
old file is kept beside it."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from simfan.errors import RunError, ScenarioError
from simfan.plant.case import Case
from simfan.scenario.lines import Path as Key
from simfan.scenario.lines import Span, key_lines, key_spans
from simfan.scenario.reader import load

Table = Mapping[str, Sequence[float]]
"""Column of a sequence table ("output", "inlet_vanes", "speed") → fractions."""


def write_sequences(file: Path, tables: Mapping[str, Table]) -> Path:
    """Put a table into each of the named strategies; the path at which the old file is kept.

    The new text is read as a scenario before it takes the old one's place. Raises RunError, with
    the file as it was, where that cannot be done.
    """
    text = file.read_bytes().decode("utf-8-sig")
    for strategy, table in tables.items():
        text = with_sequence(text, strategy, table)
    tried(file, text, "the new sequence")
    kept = put(file, text)
    assert kept is not None, "the file was read"
    return kept


def put(file: Path, text: str) -> Path | None:
    """Write the text; the path at which what stood there before is kept, if anything did."""
    kept = _free(file) if file.exists() else None
    try:
        if kept:
            kept.write_bytes(file.read_bytes())
        file.write_bytes(text.encode())
    except OSError as why:
        raise RunError(f"{file} cannot be written: {why.strerror}; the file as it was is "
                       f"{kept if kept and kept.exists() else 'untouched'}") from None
    return kept


def tried(file: Path, text: str, what: str) -> Case:
    """The text as a scenario, read beside the file, since it may name others there."""
    trial = file.with_name(f".{file.name}.new")
    try:
        trial.write_bytes(text.encode())
        return load(trial)
    except OSError as why:
        raise RunError(f"nothing can be written beside {file}: {why.strerror}; it was left as it "
                       "is") from None
    except ScenarioError as error:
        raise RunError(f"{file} was left as it is: with {what} it would not be a "
                       f"scenario ({error.problems[0]})") from None
    finally:
        trial.unlink(missing_ok=True)


def with_sequence(text: str, strategy: str, table: Table) -> str:
    """The text with the strategy's sequence replaced. Raises RunError where it cannot be found.

    A value is replaced in its place. A table written as lines of its own keeps them as comments.
    """
    path, spans = ("strategies", strategy, "sequence"), key_spans(text)
    if path in spans:
        _, start, end = spans[path]
        return text[:start] + inline(table) + _trailing(text[start:end]) + text[end:]
    pairs = sorted(span for at, span in spans.items() if at[:3] == path and len(at) == 4)
    if not pairs or not all(own_line(text, span) for span in pairs):
        raise RunError(f"the sequence of {strategy} is written in a way that cannot be replaced "
                       f"without risk; nothing was written. By hand: sequence = {inline(table)}")
    return _lines_replaced(text, pairs, table)


def _lines_replaced(text: str, pairs: Sequence[Span], table: Table) -> str:
    first, value, _ = pairs[0]
    prefix = re.sub(r"[\w-]+\s*=\s*$", "", text[first:value])
    ending = ending_of(text)
    new = "".join(f"{prefix}{name} = {column(values)}{ending}" for name, values in table.items())
    for start, _, end in reversed(pairs):
        text = text[:start] + "# " + text[start:end].replace("\n", "\n# ") + text[end:]
    line = text.rfind("\n", 0, first) + 1
    return text[:line] + new + text[line:]


def own_line(text: str, span: Span) -> bool:
    """Whether nothing but blanks and a comment shares the lines of this pair."""
    before = text[text.rfind("\n", 0, span[0]) + 1:span[0]]
    after = text[span[2]:].split("\n", 1)[0].strip()
    return not before.strip() and (not after or after.startswith("#"))


def _trailing(value: str) -> str:
    """Blanks between the old value and what follows it."""
    return value[len(value.rstrip()):]


def inline(table: Table) -> str:
    """The table as one value."""
    return "{ " + ", ".join(f"{name} = {column(v)}" for name, v in table.items()) + " }"


def column(values: Sequence[float]) -> str:
    """A list of percentages, to nine digits."""
    return f'{{ unit = "%", values = [{", ".join(f"{100.0 * v:.9g}" for v in values)}] }}'


def _free(file: Path) -> Path:
    """A name for the old file that takes the place of none."""
    number, kept = 1, file.with_name(f"{file.name}.bak")
    while kept.exists():
        number += 1
        kept = file.with_name(f"{file.name}.bak{number}")
    return kept


def into(text: str, table: Key, rest: Key, pair: str) -> str | None:
    """The text with the pair in this table; None where the file has it not in one place."""
    spans = key_spans(text)
    if table in spans and text[spans[table][1]] == "{":
        brace = spans[table][1] + 1
        comma = "" if text[brace:].lstrip().startswith("}") else ","
        for k in reversed(rest[:-1]):
            pair = f"{bare(k)} = {{ {pair} }}"
        return f"{text[:brace]} {pair}{comma}{text[brace:]}"
    rows, line = text.splitlines(keepends=True), key_lines(text).get(table)
    if not (line and re.match(r"\s*\[[^\[]", rows[line - 1]) and _heads(rows[line - 1], table)):
        return None
    ending = ending_of(text)
    rows[line - 1] = rows[line - 1].rstrip("\r\n") + ending
    rows.insert(line, "".join(f"{bare(k)}." for k in rest[:-1]) + pair + ending)
    return "".join(rows)


def ending_of(text: str) -> str:
    """What ends its lines."""
    return "\r\n" if "\r\n" in text else "\n"


def bare(key: str | int) -> str:
    """A key as TOML writes it, in quotation marks where it must be."""
    return str(key) if re.fullmatch(r"[\w-]+", str(key), re.A) else f'"{key}"'


def _heads(line: str, key: Key) -> bool:
    """Whether the line is the header of this very table."""
    return key_lines(f"{line.rstrip()}\nx = 1\n").get((*key, "x")) is not None
