"""What the answer rests on: tuning and sequence used, what was assumed, the runs' own audit."""

from collections.abc import Iterable

from rich.console import Group, RenderableType

from simfan.compare import Comparison, StrategyResult
from simfan.history import Audit, Facts
from simfan.report.items import item
from simfan.report.sections import Section
from simfan.units import System, convert, preferred, significant

_SPAN = ("span_low", "span_high")
_UNITS = {"_percent": "%", "_s": "s"}
"""Endings of the names of tuning numbers, and the units they stand for."""
STRAIGHT = ((0.0, 0.0), (1.0, 1.0))
"""An element that does what the controller says needs no word."""


def _tuning(comparison: Comparison, system: System) -> RenderableType:
    return Group(*(item(f"{r.name}: {tuning_words(r.history.facts, system)}")
                   for r in comparison.strategies))  # fmt: skip


def tuning_words(facts: Facts, system: System) -> str:
    """Every number of the controller that is in use, and the sequence table of the elements."""
    said = (" ".join(filter(None, s)) for s in settings(facts))
    return ", ".join([*said, *_span(facts, system), *_sequences(facts)])


def settings(facts: Facts) -> list[tuple[str, str, str]]:
    """Name, value and unit of each tuning number in use, the span apart."""
    unused = ("derivative_s", "derivative_filter") if not facts.tuning.get("derivative_s") else ()
    found = [_setting(k, v) for k, v in facts.tuning.items() if k not in (*unused, *_SPAN)]
    after = next((k + 1 for k, (name, *_) in enumerate(found) if name == "reset"), 0)
    others = [(f"{loop} {name}", value, unit) for loop, numbers in facts.other_loops.items()
              for name, value, unit in (_setting(k, v) for k, v in numbers.items())]
    return [*found[:after], *_sensitivity(facts), *found[after:], *others]


def _sensitivity(facts: Facts) -> list[tuple[str, str, str]]:
    """Ms beside the gains."""
    found = facts.robustness
    if found is None:
        return []
    if found.sensitivity is not None:
        return [("Ms", significant(found.sensitivity), "")]
    return [("Ms", "unstable" if found.unstable_at else "not found", "")]


def _span(facts: Facts, system: System) -> Iterable[str]:
    """Such as "span 0 to 90 m3/s"."""
    if ends := span(facts, system):
        yield f"span {ends} {preferred(facts.held_kind, system)}"


def span(facts: Facts, system: System) -> str:
    """Such as "0 to 90", of the transmitter; "" where it is not known."""
    if not all(isinstance(facts.tuning.get(name), float) for name in _SPAN):
        return ""
    unit = preferred(facts.held_kind, system)
    ends = (convert(float(facts.tuning[name]), facts.held_kind, unit) for name in _SPAN)
    return " to ".join(map(significant, ends))


def _setting(name: str, value: float | str) -> tuple[str, str, str]:
    unit = next((u for ending, u in _UNITS.items() if name.endswith(ending)), "")
    ending = next((e for e in _UNITS if name.endswith(e)), "")
    shown = value if isinstance(value, str) else significant(value)
    return name.removesuffix(ending).replace("_", " "), shown, unit


def _sequences(facts: Facts) -> Iterable[str]:
    for element, points in facts.sequence.items():
        if points == STRAIGHT:
            continue
        path = ", ".join(f"{100 * x:.3g} → {100 * y:.3g}" for x, y in points)
        yield f"{element.replace('_', ' ')} by controller output [%]: {path}"


def _assumed(comparison: Comparison, system: System) -> RenderableType | None:
    lines = assumptions(comparison)
    return Group(*map(item, lines)) if lines else None


def assumptions(comparison: Comparison) -> list[str]:
    """Said once where it holds for every strategy."""
    every = [r.history.facts.assumed for r in comparison.strategies]
    common = [line for line in every[0] if all(line in other for other in every)]
    own = [f"{r.name}: {line}" for r in comparison.strategies
           for line in r.history.facts.assumed if line not in common]  # fmt: skip
    return common + own


def _worth_knowing(comparison: Comparison, system: System) -> RenderableType | None:
    """What is more than a plain default; the defaults are counted."""
    lines = assumptions(comparison)
    told = [line for line in lines if not is_plain_default(line)]
    if more := len(lines) - len(told):
        file = comparison.scenario.file or "FILE"
        count = "1 default" if more == 1 else f"{more} defaults"
        told.append(f"and {count}: `simfan check {file}` tells them; with --out "
                    "summary.txt, too")  # fmt: skip
    return Group(*map(item, told)) if told else None


def is_plain_default(line: str) -> bool:
    """A key that the file left to its default, with nothing doubtful about it."""
    return "(default:" in line and "not validated" not in line and "assumed" not in line


def _audit(comparison: Comparison, system: System) -> RenderableType:
    return Group(*(item(audit_words(r)) for r in comparison.strategies))


def audit_words(result: StrategyResult) -> str:
    """Step, mass balance, and what helped or stopped the arithmetic."""
    audit = result.audit
    words = (f"{result.name}: step {significant(1e3 * audit.step_s)} ms, mass balance to "
             f"{audit.mass_balance_residual:.0e} of what passed")  # fmt: skip
    return words + "".join(_unusual(audit))


def _unusual(audit: Audit) -> Iterable[str]:
    if audit.stiff_steps:
        yield (f", in {audit.stiff_steps} of {audit.steps} steps the air at a nearly shut element "
               "was made heavier")  # fmt: skip
    if audit.half_step_difference is not None:
        yield f", half the step differs by {100 * audit.half_step_difference:.2g} % of range"
    if audit.stopped:
        yield f"; {audit.stopped}"


TUNING = Section("tuning", "Tuning used", text=_tuning)
ASSUMED = Section("assumed", "Assumed", text=_worth_knowing)
ALL_ASSUMED = Section("assumed", "Assumed", text=_assumed)
AUDIT = Section("audit", "The arithmetic", text=_audit)
