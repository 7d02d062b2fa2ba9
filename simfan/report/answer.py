"""Question and answer first; a sentence for each strategy; at the end, what to be careful of."""

from markupsafe import Markup
from rich.console import Group, RenderableType

from simfan.compare import Comparison, StrategyResult
from simfan.report import markup
from simfan.report.items import item
from simfan.report.sections import Fragment, Section
from simfan.report.terminal import Words
from simfan.report.wording import reworded
from simfan.units import System, significant

MISS = "✗"
"""Beside a miss, so that it does not rest on colour."""

CAUTIONS = (
    "This is a simulation, as good as the curve, duct and tuning it was given. It is not "
    "validated on your plant.",
    "The maker's curve and stall line, local codes and licensed practice rule.",
    "Not modelled: flame and heat, duct and casing strength, fatigue, noise. Surge is a lumped "
    "model's surge; rotating stall is not resolved.",
)


def _answer(comparison: Comparison, system: System) -> RenderableType:
    return Words(answer(comparison))


def answer(comparison: Comparison) -> str:
    """Which strategies meet the criteria, in one sentence."""
    good = [r.name for r in comparison.strategies if r.meets_criteria]
    count = len(comparison.strategies)
    if len(good) == count:
        words = "All strategies meet the criteria." if count > 1 else "It meets the criteria."
    elif good:
        words = f"{len(good)} of {count} strategies meet the criteria: {', '.join(good)}."
    else:
        words = "No strategy meets the criteria." if count > 1 else "It misses the criteria."
    return words


def _answer_on_page(comparison: Comparison, system: System) -> Fragment:
    """With a row for each strategy: whether, why, and what it costs."""
    currency = next((r.measures.energy.currency for r in comparison.strategies
                     if r.measures and r.measures.energy.cost is not None), None)  # fmt: skip
    head = ["Strategy", "Meets the criteria", "Why", "Energy from the supply E [kWh]"]
    rows = [_row(r, system, currency is not None) for r in comparison.strategies]
    costs = [f"Cost [{currency}]"] if currency is not None else []
    lead = Markup('<p class="answer">{}</p>').format(answer(comparison))
    return Fragment(lead + markup.table([*head, *costs], rows, "verdicts"))


def _row(result: StrategyResult, system: System, priced: bool) -> list[object]:
    energy = result.measures.energy if result.measures else None
    row: list[object] = [result.name, _meets(result), reworded(result.verdict, system),
                         _number(energy.electrical_kwh if energy else None)]  # fmt: skip
    return [*row, _number(energy.cost if energy else None)] if priced else row


def _number(value: float | None) -> str:
    return "-" if value is None else significant(value)


def _meets(result: StrategyResult) -> Markup:
    if result.meets_criteria:
        return Markup("yes")
    words = "stopped" if result.stopped else "no" if result.decidable else "not decidable"
    return Markup('<strong class="miss">{} {}</strong>').format(MISS, words)


def _verdicts(comparison: Comparison, system: System) -> RenderableType:
    return Group(*(item(f"{r.name}: {reworded(r.verdict, system)}")
                   for r in comparison.strategies))  # fmt: skip


def _cautions(comparison: Comparison, system: System) -> RenderableType:
    return Group(*map(item, CAUTIONS))


ANSWER = Section("answer", "Which strategies meet the criteria?", text=_answer,
                 html=_answer_on_page)
VERDICTS = Section("verdicts", "Why", text=_verdicts)
CAUTION = Section("cautions", "Be careful", text=_cautions)
