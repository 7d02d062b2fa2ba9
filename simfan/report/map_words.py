"""What an operating map says in sentences: the answer, what ends each range, what it rests on."""

from collections.abc import Iterator

from rich.console import Group, RenderableType

from simfan.operating_map import OperatingPoint, StrategyMap
from simfan.overview import SHARES, Overview, flow_ratio, held_ratio
from simfan.report.items import item
from simfan.report.sections import Section
from simfan.report.terminal import Words
from simfan.units import System, convert, preferred, show, significant

CAUTIONS = (
    "Steady points of a model, as good as the curve and duct it was given; nothing here is "
    "validated on your plant.",
    "What happens on the way from one point to another, `simfan compare` tells.",
    "The maker's curve and stall line, local codes and licensed practice rule.",
)


def _answer(overview: Overview, system: System) -> RenderableType:
    return Words(" ".join(_answers(overview, system)))


def _answers(overview: Overview, system: System) -> Iterator[str]:
    maps = overview.map.strategies
    able = [m for m in maps if m.turndown.highest]
    if not able:
        yield ("No strategy has an operating point within the limits." if len(maps) > 1
               else "It has no operating point within the limits.")
        return
    if len(able) < len(maps):
        yield f"{len(able)} of {len(maps)} strategies have operating points within the limits."
    widest = max(able, key=lambda m: flow_ratio(m.turndown) or 0.0)
    yield f"Widest within the limits: {widest.name}, {range_words(overview, widest, system)}."
    if len(able) > 1:
        yield from _least_power(overview, system)


def _least_power(overview: Overview, system: System) -> Iterator[str]:
    """At the lowest of the shares of design flow that any strategy serves within its limits."""
    for k, share in reversed(list(enumerate(SHARES))):
        served = {name: p for name, points in overview.part_load.points.items()
                  if (p := points[k]) is not None and not p.missed}
        if len(served) > 1:
            best = min(served, key=lambda name: _power(served[name]))
            flow = show(share * overview.part_load.design_flow, "volume flow", system)
            yield (f"Least power at {flow}: {best}, "
                   f"{significant(1e-3 * _power(served[best]))} kW.")
            return


def _power(point: OperatingPoint) -> float:
    return point.electrical_power


def range_words(overview: Overview, found: StrategyMap, system: System) -> str:
    """Such as "48.1 to 30.9 m3/s, 1.56 to 1"."""
    turndown, kind = found.turndown, overview.map.held_kind
    if turndown.highest is None or turndown.lowest is None:
        return "no point within the limits"
    shown = "volume flow" if kind == "pressure" else kind
    ends = [p.flow if kind == "pressure" else p.held for p in (turndown.highest, turndown.lowest)]
    unit = preferred(shown, system)
    high, low = (significant(convert(v, shown, unit)) for v in ends)
    ratio = flow_ratio(turndown) if kind == "pressure" else held_ratio(turndown, kind)
    return f"{high} to {low} {unit}" + (f", {significant(ratio)} to 1" if ratio else "")


def _ends(overview: Overview, system: System) -> RenderableType:
    return Group(*(item(f"{m.name}: {_end_words(m)}") for m in overview.map.strategies))


def _end_words(found: StrategyMap) -> str:
    turndown = found.turndown
    if turndown.highest is None:
        return f"no point within the limits: {turndown.ended_above_by}"
    return f"above, {turndown.ended_above_by}; below, {turndown.ended_below_by}"


def _in_one_line(overview: Overview, system: System) -> RenderableType:
    return Group(*(item(f"{m.name}: {_line(overview, m, system)}")
                   for m in overview.map.strategies))


def _line(overview: Overview, found: StrategyMap, system: System) -> str:
    if found.turndown.highest is None:
        return _end_words(found)
    return f"{range_words(overview, found, system)}; below, {found.turndown.ended_below_by}"


def _findings(overview: Overview, system: System) -> RenderableType | None:
    lines = [f"{m.name}: {said}" for m in overview.map.strategies for said in m.findings]
    lines += _year_notes(overview)
    return Group(*map(item, lines)) if lines else None


def _year_notes(overview: Overview) -> Iterator[str]:
    """What holds for every strategy is said once."""
    years = overview.years
    common = [said for said in next((y.notes for y in years.values()), ())
              if all(said in y.notes for y in years.values())]
    yield from common
    for name, year in years.items():
        yield from (f"{name}: {said}" for said in year.notes if said not in common)


def _bands(overview: Overview, system: System) -> RenderableType | None:
    lines = [f"{m.name}: {name} {_shown(b.low, b.kind, system)} ({b.low_in}) to "
             f"{_shown(b.high, b.kind, system)} ({b.high_in})"
             for m in overview.map.strategies for name, b in m.bands.items()]
    return Group(*map(item, lines)) if lines else None


def _shown(value: float, kind: str, system: System) -> str:
    """Power is electrical here, and in kW in every country."""
    return show(value, kind, "si" if kind == "power" else system) if kind else significant(value)


def _assumed(overview: Overview, system: System) -> RenderableType | None:
    return Group(*map(item, overview.map.assumed)) if overview.map.assumed else None


def _cautions(overview: Overview, system: System) -> RenderableType:
    return Group(*map(item, CAUTIONS))


ANSWER = Section("map-answer", "How far does each strategy go?", text=_answer)
ENDS = Section("map-ends", "What ends the range", text=_ends)
LINES = Section("map-lines", "How far each strategy goes", text=_in_one_line)
FINDINGS = Section("map-findings", "Worth knowing", text=_findings)
BANDS = Section("map-bands", "Over the days and the curve's tolerance", text=_bands)
ASSUMED = Section("map-assumed", "Assumed", text=_assumed)
CAUTION = Section("map-cautions", "Be careful", text=_cautions)
