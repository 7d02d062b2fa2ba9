"""The parts of pages that are made from the code: `python -m tests.docs` writes them anew.

Each stands between `<!-- begin: NAME -->` and `<!-- end: NAME -->`.
"""

import re
from collections.abc import Callable, Iterator
from typing import Any

from simfan import api
from simfan.cli import main
from simfan.signals import HELD_UNITS, SIGNALS
from simfan.units import KINDS
from tests.docs.blocks import PAGES, ROOT, Shell
from tests.docs.sources import SOURCES, files_that_name

PART = re.compile(r"(<!-- begin: (?P<name>[\w-]+) -->\n)(?P<made>.*?)(<!-- end: (?P=name) -->)",
                  re.S)


def table(headings: list[str], rows: list[list[str]]) -> str:
    """A Markdown table."""
    lines = [headings, ["---"] * len(headings), *rows]
    return "".join("| " + " | ".join(c.replace("|", "\\|") for c in row) + " |\n" for row in lines)


def nomenclature() -> str:
    """Every recorded signal."""
    def unit(kind: str, si: str) -> str:
        return " or ".join(HELD_UNITS.values()) if kind == "held" else si

    rows = [[f"`{s.name}`", s.symbol, unit(s.kind, s.unit), s.per, s.meaning]
            for s in SIGNALS.values()]
    return table(["Signal", "Symbol", "Unit", "One for each", "Meaning"], rows)


def scenario_keys() -> str:
    """Every key of the scenario file, section by section, with what it takes and its default."""
    made = api.schema()
    parts: dict[str, list[str]] = {}
    _walk("", made, made["$defs"], parts)
    return "\n".join(_section(path, rows) for path, rows in parts.items())


def _section(path: str, rows: list[str]) -> str:
    title = f"### `{path}`" if path else "### At the top of the file"
    return f"{title}\n\n{''.join(rows)}"


def _walk(path: str, table_: dict[str, Any], defs: dict[str, Any],
          parts: dict[str, list[str]]) -> None:
    """Put the keys of a table under its path, then those of the tables within it."""
    needed = table_.get("required", [])
    rows, below = [], []
    for key, told in table_["properties"].items():
        inner = [defs_text(defs[name]) for name in _tables(told)]
        rows.append(_key(key, told, key in needed, " ".join(inner)))
        below += [(_path(path, key, told), found) for found in _tables(told)]
    body = table(["Key", "Takes", "Default", "Meaning"], rows)
    parts.setdefault(path, [f"{defs_text(table_)}\n\n" if path else "", body])
    for inner, name in below:
        if inner.split(".")[-1] in ("controller",) and inner != "control.controller":
            continue  # told once, under control
        _walk(inner, defs[name], defs, parts)


def defs_text(table_: dict[str, Any]) -> str:
    """What the table is, in one paragraph."""
    return " ".join(str(table_.get("description", "")).split("\n\n")[0].split())


def _path(path: str, key: str, told: dict[str, Any]) -> str:
    here = f"{path}.{key}" if path else key
    if told.get("type") == "array":
        return f"{here}[]"
    return f"{here}.NAME" if "additionalProperties" in told else here


def _tables(told: dict[str, Any]) -> Iterator[str]:
    """Names of the tables that a key takes."""
    for place in (told, told.get("items", {}), told.get("additionalProperties", {}),
                  *told.get("anyOf", ())):
        if isinstance(place, dict) and "$ref" in place:
            yield place["$ref"].rsplit("/", 1)[-1]


def _key(key: str, told: dict[str, Any], needed: bool, table_meaning: str) -> list[str]:
    meaning, _, takes = str(told.get("description", "")).partition("A quantity: ")
    meaning, _, why = " ".join(meaning.split()).partition("Default: ")
    default = "**needed**" if needed else _default(told, why)
    takes = re.sub(r" \(units: .*?\)(?=,|\.|$)", "", takes).rstrip(". ")
    return [f"`{key}`", takes or _takes(told), default, meaning.strip() or table_meaning]


def _default(told: dict[str, Any], why: str) -> str:
    value = told.get("default")
    if isinstance(value, bool):
        value = str(value).lower()
    said = "" if value is None or isinstance(value, dict | list) or value == "" else f"`{value}`"
    return ": ".join(filter(None, (said, why.rstrip("."))))


def _takes(told: dict[str, Any]) -> str:
    """What a key that is no quantity takes."""
    if "enum" in told:
        return ", ".join(f'`"{word}"`' for word in told["enum"])
    if "const" in told:
        return f"`{str(told['const']).lower()}`"
    if told.get("type") == "object" and "values" in told.get("properties", {}):
        return "values with their unit"
    if any(_tables(told)):
        return "a list of tables" if told.get("type") == "array" else "a table"
    if told.get("type") == "array" and told.get("items") == {"type": "string"}:
        return "a list of texts"
    words = {"string": "a text", "number": "a number", "integer": "a whole number",
             "boolean": "`true` or `false`", "array": "a list of numbers", "object": "a table"}
    return words.get(str(told.get("type")), "")


def commands() -> str:
    """What every command says with --help; the blocks are run with the others."""
    shell = Shell()

    def told(title: str, line: str) -> str:
        return title + "```console\n$ " + line + "\n" + "\n".join(shell.lines(line)) + "\n```\n"

    return "\n".join([told("", "simfan --help"),
                      *(told(f"## simfan {name}\n\n", f"simfan {name} --help")
                        for name in sorted(main.commands))])


def sources() -> str:
    """Where each source of the bibliography is named in the code."""
    return table(["Source", "Named in"],
                 [[source, ", ".join(f"`{file}`" for file in files_that_name(source))]
                  for source in SOURCES])


def units() -> str:
    """Units by kind of quantity."""
    return table(["Kind", "Units"], [[kind, ", ".join(f"`{unit}`" for unit in units)]
                                     for kind, units in KINDS.items()])


MADE: dict[str, Callable[[], str]] = {
    "commands": commands, "nomenclature": nomenclature, "scenario-keys": scenario_keys,
    "units": units, "sources": sources}
"""Name of a part → what makes it. The checks of the validation page are made by
`python -m tests.published`."""


def renewed(text: str) -> str:
    """The page with all of its parts made anew."""
    def part(found: re.Match[str]) -> str:
        made = MADE[found["name"]]() if found["name"] in MADE else found["made"].strip("\n")
        return f"{found[1]}\n{made.rstrip()}\n\n{found[4]}"

    return PART.sub(part, text)


def write() -> None:
    """Renew every page."""
    for page in PAGES:
        if page.parent != ROOT:
            page.write_text(renewed(page.read_text("utf-8")), "utf-8")
