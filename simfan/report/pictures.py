"""A picture of each strategy, for the folder of a comparison."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import TYPE_CHECKING

from simfan.compare import Comparison, StrategyResult
from simfan.report.account import tuning_words
from simfan.report.excursions import told
from simfan.report.names import file_names
from simfan.report.sections import Drawing, Section
from simfan.report.wording import reworded
from simfan.units import System

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def _drawings(comparison: Comparison, system: System) -> Iterable[Drawing]:
    names = file_names([r.name for r in comparison.strategies])
    for result, name in zip(comparison.strategies, names, strict=True):
        yield Drawing(name, partial(_draw, result, system))


def _draw(result: StrategyResult, system: System, flat: bool) -> Figure:
    from simfan.report.figures import picture

    notes = [("Tuning", [tuning_words(result.history.facts, system)]),
             ("Out of bounds", told(result, system, most=4))]  # fmt: skip
    return picture(result.history, reworded(result.verdict, system), notes, system, flat)


PICTURES = Section("pictures", "", drawings=_drawings)
