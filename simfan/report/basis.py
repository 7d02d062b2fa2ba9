"""On a page, what the answer rests on, as tables: tuning, sequences, settings not given."""

import re
from collections.abc import Iterable

from markupsafe import Markup

from simfan.compare import Comparison
from simfan.history import Facts
from simfan.report import markup
from simfan.report.account import STRAIGHT, settings, span
from simfan.report.sections import Fragment, Section
from simfan.units import System, preferred, significant

SEQUENCE_HEAD = ("Strategy", "Element", "at controller output [%]", "stands at [%]")
ASSUMED_HEAD = ("Setting", "Value", "Where it comes from", "Strategies")
EVERY = "all"
_DEFAULT = re.compile(r"(?P<key>\S+) (?:= (?P<value>.*?)|is not given) \(default: (?P<why>.*)\)")
_REMARK = re.compile(r"(?P<key>[^:]+): (?P<why>.*)")


def _tuning(comparison: Comparison, system: System) -> Fragment:
    """A row for each setting, a column for each strategy; then the sequence tables."""
    head = ["Setting", *(r.name for r in comparison.strategies)]
    body = markup.table(head, tuning_rows(comparison, system), "figures")
    paths = sequence_rows(comparison)
    if paths:
        body += Markup("<h3>Sequence tables</h3>") + markup.table(SEQUENCE_HEAD, paths, "text")
    words = "An element without a sequence table stands where the controller says."
    return Fragment(body + Markup("<p>{}</p>").format(words))


def tuning_rows(comparison: Comparison, system: System) -> list[list[str]]:
    """A row for each setting: its name, then a cell for each strategy."""
    each = [_settings(r.history.facts, system) for r in comparison.strategies]
    names = dict.fromkeys(name for found in each for name in found)
    return [[name, *(found.get(name, "-") for found in each)] for name in names]


def sequence_rows(comparison: Comparison) -> list[tuple[str, str, str, str]]:
    """A row for each element with a sequence of its own."""
    return [row for r in comparison.strategies for row in _sequence(r.name, r.history.facts)]


def _settings(facts: Facts, system: System) -> dict[str, str]:
    """Name with unit → value in words."""
    found = {f"{name} [{unit}]" if unit else name: value for name, value, unit in settings(facts)}
    unit = preferred(facts.held_kind, system)
    return {**found, f"span [{unit}]": span(facts, system) or "-"}


def _sequence(name: str, facts: Facts) -> Iterable[tuple[str, str, str, str]]:
    for element, points in facts.sequence.items():
        if points != STRAIGHT:
            x, y = (", ".join(significant(100.0 * p[i]) for p in points) for i in (0, 1))
            yield name, element.replace("_", " "), x, y


def _assumed(comparison: Comparison, system: System) -> Fragment | None:
    rows = assumed_rows(comparison)
    return Fragment(markup.table(ASSUMED_HEAD, rows, "text fine")) if rows else None


def assumed_rows(comparison: Comparison) -> list[tuple[str, str, str, str]]:
    """A row for each setting; strategies for which the same holds share it."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for result in comparison.strategies:
        for line in result.history.facts.assumed:
            own = line.replace(f"strategies.{result.name}.", "", 1)
            found.setdefault(_parts(own), []).append(result.name)
    count = len(comparison.strategies)
    return [(*parts, EVERY if len(names) == count else ", ".join(names))
            for parts, names in sorted(found.items(), key=lambda f: -len(f[1]))]  # fmt: skip


def _parts(line: str) -> tuple[str, str, str]:
    """Such as ("motor.slip", "1 %", "common practice, no source")."""
    if found := _DEFAULT.fullmatch(line):
        return found["key"], found["value"] or "not given", found["why"]
    if found := _REMARK.fullmatch(line):
        return found["key"], "-", found["why"]
    return line, "-", "-"


BASIS = Section("tuning", "Tuning and sequences used", html=_tuning)
SOURCES = Section("assumed", "Assumed, and where it comes from", html=_assumed)
