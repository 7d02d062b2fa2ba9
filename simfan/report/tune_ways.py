"""Ways beside one tuning for the whole range: what they better, and their tables to type in."""

from rich.console import Group, RenderableType

from simfan.loop_answer import LoopAnswer, Served, StrategyLoop, Way
from simfan.report.items import item
from simfan.report.map_rows import number
from simfan.report.tune_tables import Rows
from simfan.units import System, convert, preferred, significant

HEADS = ("\nstrategy", "gain of the loop,\nlargest/smallest", "\nMs", "worst load\nerror s")


def ways(answer: LoopAnswer, system: System) -> RenderableType | None:
    """Before and after, then the tables; None where none was sought or found."""
    some = [s for s in answer.strategies if s.ways]
    if not some:
        return None
    lines = [said for s in some for w in s.ways for said in _table(s, w, answer, system)]
    return Group(Rows(HEADS, lambda miss: [row for s in some for row in _rows(s)]),
                 *map(item, (*lines, *NOTES)))


NOTES = (
    "worst load error: largest Ti/(Kc·K), the integral of the error after a load step that would "
    "move the value by one",
    "a schedule is judged with its gains frozen at each point: let it follow slowly; a "
    "characteriser belongs to this element and this duct, and wears with them",
)


def _rows(found: StrategyLoop) -> list[list[str]]:
    before = found.ways[0].before
    return [[found.name], _row("one tuning", before), *(_row(w.name, w.after) for w in found.ways)]


def _row(name: str, served: Served) -> list[str]:
    return [f"  {name}", number(served.gain_ratio), number(served.sensitivity),
            number(served.load_error)]


def _table(found: StrategyLoop, way: Way, answer: LoopAnswer, system: System) -> list[str]:
    """Its numbers, point by point."""
    if way.schedule:
        s = way.schedule
        unit = preferred(answer.held_kind, system) if s.on == "held" else "% output"
        where = [convert(x, answer.held_kind, unit) if s.on == "held" else 100.0 * x for x in s.at]
        points = "; ".join(f"{significant(x, 4)}: {number(k)}, {number(ti)} s"
                           for x, k, ti in zip(where, s.gain, s.reset, strict=True))
        return [f"{found.name}, schedule, gain and reset at {unit}: {points}; straight lines "
                "between"]
    if way.characterised:
        c = way.characterised
        points = ", ".join(f"{significant(100.0 * u, 4)} → {significant(100.0 * y, 4)}"
                           for u, y in zip(c.output, c.element, strict=True))
        return [f"{found.name}, characteriser, output → element in %: {points}; with gain "
                f"{number(c.gain)}, reset {number(c.reset)} s"]
    return []
