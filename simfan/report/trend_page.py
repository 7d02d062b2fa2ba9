"""The page of `simfan judge`: what was recorded, how it is judged, how far it is from the run."""

from collections.abc import Sequence
from typing import Any

from rich.console import Group, RenderableType

from simfan.compare import StrategyResult
from simfan.report.answer import MISS
from simfan.report.excursions import MOST_TOLD, sentence
from simfan.report.items import item
from simfan.report.names import signal_words
from simfan.report.rows import blocks
from simfan.report.sections import Section
from simfan.report.terminal import Words
from simfan.report.trend_pictures import drawings
from simfan.report.tune_tables import Rows
from simfan.report.wording import reworded
from simfan.trends.answer import TrendJudgement
from simfan.trends.beside import Difference
from simfan.units import System, convert, preferred, significant

SAYS = "A recorded trend, judged as a run, beside the simulated run of the same setpoints."
CAUTIONS = (
    "A trend shows what its transmitters, its sampling and its archive let through. That no surge "
    "is seen is no proof that there was none.",
    "Beside the scenario's plant, which is a model: a difference may lie in either.",
    "The maker's curve and stall line, local codes and licensed practice rule.",
)
MOST_GAPS = 6
SPELT = {"tracking": "how the setpoint was held",
         "tracking.changes": "overshoot and settling"}


def _what(answer: TrendJudgement, system: System) -> RenderableType:
    trend, facts = answer.trend, answer.recorded.history.facts
    lasts = float(trend.time[-1])
    began = f" from {trend.began}" if ":" in trend.began else ""
    lines = [f"{trend.file}: {len(trend.time)} samples{began}, {_long(lasts)}, usually one every "
             f"{significant(trend.interval_s)} s, judged as {facts.strategy} ({facts.method})"]
    return Group(*map(Words, lines))


def _long(seconds: float) -> str:
    """Such as "14 min" or "2.5 h"."""
    for unit, size in (("d", 86400.0), ("h", 3600.0), ("min", 60.0)):
        if seconds >= 2.0 * size:
            return f"{significant(seconds / size)} {unit}"
    return f"{significant(seconds)} s"


def _verdicts(answer: TrendJudgement, system: System) -> RenderableType:
    said = [f"recorded: {reworded(answer.recorded.verdict, system)}"]
    if answer.simulated:
        said.append(f"simulated: {reworded(answer.simulated.verdict, system)}")
    else:
        said.append(f"not simulated: {reworded(answer.why_not_simulated, system)}")
    return Group(*map(item, said))


def _table(answer: TrendJudgement, system: System) -> RenderableType:
    """The rows of a comparison, recorded beside simulated."""
    results = answer.comparison.strategies
    heads = ("", "allowed", *(r.name for r in results))

    def rows(miss: str) -> list[list[str]]:
        found = [["meets the criteria", "", *(_meets(r, miss) for r in results)]]
        for block in blocks(answer.comparison, system):
            found.append([block.title])
            for row in block.rows:
                cells = [(f"{miss} " if row.criterion and row.missed(r) else "")
                         + row.value(r.measures) for r in results if r.measures]
                unit = f" [{row.unit}]" if row.unit else ""
                found.append([f" {row.name}{unit}", row.limit, *cells])
        return found

    measures = answer.recorded.measures
    hundred = "" if measures is None else reworded(
        f" 100 % in errors and deviations is {measures.tracking.percent_of}.", system)
    note = f"{MISS} misses a criterion.  -  no such number; judge.json says why.{hundred}"
    return Group(Rows(heads, rows), Words(note, style="dim"))


def _meets(result: StrategyResult, miss: str) -> str:
    if not result.decidable:
        return "not decided"
    return "yes" if result.meets_criteria else f"{miss} no"


def _excursions(answer: TrendJudgement, system: System) -> RenderableType | None:
    parts: list[RenderableType] = []
    for result in answer.comparison.strategies:
        found = result.measures.excursions if result.measures else None
        if found is None or not found.events:
            continue
        parts.append(Words(f"  {result.name}", style="bold"))
        parts += [item(sentence(event, system)) for event in found.events[:MOST_TOLD]]
        if (more := len(found.events) - MOST_TOLD + found.events_not_listed) > 0:
            parts.append(item(f"and {more} more, in judge.json"))
    return Group(*parts) if parts else None


def _not_judged(answer: TrendJudgement, system: System) -> RenderableType | None:
    """By reason, so that one missing column is told once."""
    by_reason: dict[str, list[str]] = {}
    for name, why in answer.not_judged.items():
        by_reason.setdefault(why, []).append(plainly(name))
    lines = [item(f"{', '.join(names)}: {reworded(why, system)}")
             for why, names in by_reason.items()]
    return Group(*lines) if lines else None


def plainly(measure: str) -> str:
    """A measure's name in words, such as "lowest stall margin"."""
    if measure in SPELT:
        return SPELT[measure]
    name = measure.split(".", 1)[1] if not measure.startswith("travel") else (
        f"travel of {measure.split('.', 1)[1]}")
    for ending in ("_percent", "_kwh", "_m3", "_pa", "_s"):
        name = name.removesuffix(ending)
    return name.replace("_", " ").replace("kwh", "kWh").replace("1000 m3", "1000 m³")


def _differences(answer: TrendJudgement, system: System) -> RenderableType | None:
    if not answer.differences:
        return None
    heads = ("Recorded less simulated", "bias", "RMS", "largest", "at\ns", "shift\ns")
    note = ("shift: how much later the plant did the same; a dash where no shift makes it fit "
            "better.")
    return Group(Rows(heads, lambda miss: [_difference(d, system) for d in answer.differences]),
                 Words(note, style="dim"))


def _difference(found: Difference, system: System) -> list[str]:
    unit = preferred(found.kind, system)
    scale = convert(1.0, found.kind, unit) - convert(0.0, found.kind, unit)
    shift = "-" if found.shift_s is None else _tidy(found.shift_s)
    return [f"{signal_words(found.signal)} [{unit}]",
            *(_tidy(scale * x) for x in (found.bias, found.rms, found.largest)),
            significant(found.largest_at_s) if _tidy(scale * found.largest) != "0" else "-", shift]


def _tidy(value: float) -> str:
    """Three digits; what is nothing but rounding is nothing."""
    return "0" if abs(value) < 1e-9 else significant(value)


def _gaps(answer: TrendJudgement, system: System) -> RenderableType | None:
    trend = answer.trend
    lines = [f"{f'{signal_words(g.signal)}: ' if g.signal else ''}{significant(g.start_s)} s to "
             f"{significant(g.end_s)} s, {_long(g.end_s - g.start_s)}"
             for g in trend.gaps[:MOST_GAPS]]
    if more := len(trend.gaps) - MOST_GAPS:
        lines += [f"and {more} more, in judge.json"] if more > 0 else []
    return Group(*map(item, lines)) if lines else None


def _notes(answer: TrendJudgement, system: System) -> RenderableType | None:
    lines = [item(reworded(note, system)) for note in answer.notes]
    return Group(*lines) if lines else None


def _cautions(answer: TrendJudgement, system: System) -> RenderableType:
    return Group(*map(item, CAUTIONS))


WHAT = Section("trend", "", text=_what)
VERDICTS = Section("verdicts", "Verdict", text=_verdicts)
JUDGED: Sequence[Section[Any]] = (
    WHAT, VERDICTS, Section("table", "", text=_table),
    Section("not-judged", "Not judged, and why", text=_not_judged),
    Section("excursions", "Out of bounds", text=_excursions),
    Section("differences", "How far the run is from the record", text=_differences),
    Section("pictures", "Recorded and simulated", drawings=drawings),
    Section("gaps", "Gaps", text=_gaps),
    Section("notes", "Recognised and assumed", text=_notes),
    Section("caution", "Be careful", text=_cautions),
)
QUIET = (WHAT, VERDICTS)

