"""The excursion list: when each strategy was out of bounds, how far, and what was moving."""

from collections.abc import Iterable, Sequence

from markupsafe import Markup
from rich.console import Group, RenderableType

from simfan import units
from simfan.compare import Comparison, StrategyResult
from simfan.metrics import Apart, Event, Surge
from simfan.report import markup
from simfan.report.items import item
from simfan.report.marks import letter
from simfan.report.sections import Fragment, Section
from simfan.report.terminal import Words
from simfan.report.wording import reworded
from simfan.units import System, significant

MOST_TOLD = 8
"""Of each strategy on a terminal; result.json has them all."""


def _text(comparison: Comparison, system: System) -> RenderableType | None:
    parts: list[RenderableType] = []
    for result in comparison.strategies:
        lines = told(result, system)
        if lines:
            parts += [Words(f"  {result.name}", style="bold"), *map(item, lines)]
    return Group(*parts) if parts else None


def told(result: StrategyResult, system: System, most: int = MOST_TOLD) -> list[str]:
    """A sentence for each excursion, the first `most` of them, and how many more there are."""
    if result.measures is None:
        return []
    found = result.measures.excursions
    several = len(result.history.items["loop"]) > 1
    lines = [sentence(event, system, several) for event in found.events[:most]]
    more = len(found.events) - most + found.events_not_listed
    if more > 0:
        lines.append(f"and {more} more, in result.json")
    return lines + [line for apart in found.apart if (line := beside(apart))]


def beside(apart: Apart) -> str:
    """What was counted apart; "" where nothing was."""
    said = [words for words, is_there in (
        (f"{apart.surge_cycles} surge cycle{'' if apart.surge_cycles == 1 else 's'}",
         apart.surge_cycles),
        (f"{significant(apart.time_left_of_peak_s or 0.0)} s left of the stall line or peak",
         apart.time_left_of_peak_s),
        (f"{significant(apart.reverse_flow_s)} s of reverse flow", apart.reverse_flow_s),
    ) if is_there]
    if not said:
        return ""
    return (f"{apart.when}, {significant(apart.lasts_s)} s in all: {', '.join(said)}; no excursion "
            "of the control strategy, not judged")


def sentence(event: Event, system: System, several: bool = False) -> str:
    """Such as "surge, 252 s to 310 s (58 s), 63 cycles of 1.02 s, ...; damper closing"; of
    `several` controllers with what it holds."""
    until = "the end" if event.still_on_at_end else f"{significant(event.end_s)} s"
    who = f" ({event.where})" if several and event.kind.startswith("controller") else ""
    words = (f"{event.kind}{who}, {significant(event.start_s)} s to {until} "
             f"({significant(event.duration_s)} s)")  # fmt: skip
    words += _surge(event, system) if isinstance(event, Surge) else _depth(event, system)
    words += f"; after {reworded(event.after, system)}"
    return words if event.moving == "nothing" else f"{words}, {event.moving}"


def _surge(event: Surge, system: System) -> str:
    every = f" every {significant(1.0 / event.frequency_hz)} s" if event.frequency_hz else ""
    return (f", {event.cycles} cycles{every}, flow swings "
            f"{units.show(event.flow_swing_m3_s, 'volume flow', system)}, pressure "
            f"{units.show(event.pressure_swing_pa, 'pressure', system)}")  # fmt: skip


def _depth(event: Event, system: System) -> str:
    if event.depth is None:
        return ""
    if event.depth_unit == "m3/s":
        return f", by up to {units.show(event.depth, 'volume flow', system)}"
    return f", by up to {significant(event.depth)} {event.depth_unit}"


HEAD = ("Strategy", "Mark", "What", "from [s]", "to [s]", "for [s]", "How far", "After", "Moving")


def _table(comparison: Comparison, system: System) -> Fragment | None:
    """Every excursion that was listed, lettered as on the fan map; below, those counted apart."""
    rows = [row for result in comparison.strategies for row in _rows(result, system)]
    beside = _beside(comparison)
    if not rows:
        return Fragment(Markup("<p>No strategy left its bounds.</p>") + beside)
    lost = sum(r.measures.excursions.events_not_listed for r in comparison.strategies if r.measures)
    more = Markup("<p>And {} more, which the list had no room for.</p>").format(lost)
    return Fragment(markup.table(HEAD, rows, "text") + (more if lost else Markup("")) + beside)


def _beside(comparison: Comparison) -> Markup:
    lines = [f"{result.name}: {line}" for result in comparison.strategies if result.measures
             for apart in result.measures.excursions.apart if (line := beside(apart))]
    return markup.bullets(lines) if lines else Markup("")


def _rows(result: StrategyResult, system: System) -> Iterable[Sequence[object]]:
    for k, event in enumerate(result.measures.excursions.events if result.measures else ()):
        far = _surge(event, system) if isinstance(event, Surge) else _depth(event, system)
        end = "the end" if event.still_on_at_end else significant(event.end_s)
        yield (result.name, letter(k), event.kind, significant(event.start_s), end,
               significant(event.duration_s), far.removeprefix(", ") or "-",
               reworded(event.after, system), event.moving)  # fmt: skip


EXCURSIONS = Section("excursions", "Out of bounds", text=_text, html=_table)
