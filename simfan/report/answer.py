"""Question and answer first; a sentence for each strategy; at the end, what to be careful of."""

from rich.console import Group, RenderableType

from simfan.compare import Comparison
from simfan.report.items import item
from simfan.report.sections import Section
from simfan.report.terminal import Words
from simfan.units import System

CAUTIONS = (
    "This is a simulation, as good as the curve, duct and tuning it was given. It is not "
    "validated on your plant.",
    "The maker's curve and stall line, local codes and licensed practice rule.",
    "Not modelled: flame and heat, duct and casing strength, fatigue, noise. Surge is a lumped "
    "model's surge; rotating stall is not resolved.",
)


def _answer(comparison: Comparison, system: System) -> RenderableType:
    good = [r.name for r in comparison.strategies if r.meets_criteria]
    count = len(comparison.strategies)
    if len(good) == count:
        words = "All strategies meet the criteria." if count > 1 else "It meets the criteria."
    elif good:
        words = f"{len(good)} of {count} strategies meet the criteria: {', '.join(good)}."
    else:
        words = "No strategy meets the criteria." if count > 1 else "It misses the criteria."
    return Words(words)


def _verdicts(comparison: Comparison, system: System) -> RenderableType:
    return Group(*(item(f"{r.name}: {r.verdict}") for r in comparison.strategies))


def _cautions(comparison: Comparison, system: System) -> RenderableType:
    return Group(*map(item, CAUTIONS))


ANSWER = Section("answer", "Which strategies meet the criteria?", text=_answer)
VERDICTS = Section("verdicts", "Why", text=_verdicts)
CAUTION = Section("cautions", "Be careful", text=_cautions)
