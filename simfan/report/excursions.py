"""The excursion list: when each strategy was out of bounds, how far, and what was moving."""

from rich.console import Group, RenderableType

from simfan import units
from simfan.compare import Comparison, StrategyResult
from simfan.metrics import Event, Surge
from simfan.report.items import item
from simfan.report.sections import Section
from simfan.report.terminal import Words
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
    lines = [sentence(event, system) for event in found.events[:most]]
    more = len(found.events) - most + found.events_not_listed
    if more > 0:
        lines.append(f"and {more} more, in result.json")
    return lines


def sentence(event: Event, system: System) -> str:
    """Such as "surge, 252 s to 310 s (58 s), 63 cycles of 1.02 s, ...; damper closing"."""
    until = "the end" if event.still_on_at_end else f"{significant(event.end_s)} s"
    words = (f"{event.kind}, {significant(event.start_s)} s to {until} "
             f"({significant(event.duration_s)} s)")  # fmt: skip
    words += _surge(event, system) if isinstance(event, Surge) else _depth(event, system)
    words += f"; after {event.after}"
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


EXCURSIONS = Section("excursions", "Out of bounds", text=_text)
