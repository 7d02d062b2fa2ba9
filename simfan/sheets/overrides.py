"""Overrides, selectors and the other loops that stand beside the first one."""

from collections.abc import Iterator, Mapping

from simfan.plant.case import Strategy
from simfan.plant.structure import Override
from simfan.sheets.known import Known
from simfan.sheets.sheet import UNIT, Cell, Path, Sheet, na, sheet, unit_of
from simfan.sheets.typed import DIGITS
from simfan.units import show

COLUMNS = ("Strategy", "Block", "Field", "Value", UNIT, "External reset from", "Selector", "Source")
UPPER = ("motor_load", "highest_pressure")
"""Limits from above; more output raises a motor's load."""
CONTROLLER = (("gain", "gain"), ("proportional_band", "proportional band"), ("reset", "reset"),
              ("repeats", "reset as repeats"), ("output_low", "output low limit"),
              ("output_high", "output high limit"))


def overrides(known: Known) -> Sheet:
    """Who limits whom, and who has the output where several want it."""
    return sheet("overrides", "Overrides and selectors",
                 "Limiting controllers and loops beside the first. Where two want the output, the "
                 "later line has it; what they keep is no protection.",
                 COLUMNS, _rows(known), "the strategy has one loop, no override and no selector")


def _rows(known: Known) -> Iterator[Mapping[str, Cell]]:
    for name, strategy in known.strategies():
        for k, override in enumerate(strategy.overrides):
            yield from _override(known, name, k, override)
        if strategy.stall_floor:
            yield from _floor(known, name)
        yield from _beside(known, name, strategy)


def _override(known: Known, name: str, k: int, override: Override) -> Iterator[Mapping[str, Cell]]:
    at: Path = ("strategies", name, "overrides", k)
    keeps = override.keeps
    upper = keeps in UPPER
    head = {"Strategy": name, "Block": f"override {k + 1}: {keeps.replace('_', ' ')}",
            "External reset from": "the selected output",
            "Selector": _selector(upper, keeps)}
    yield _line(known, head, f"limit, {'not above' if upper else 'not below'}", (*at, keeps))
    for key, what in (("lag", "lag of its measurement"), ("dead_time", "dead time")):
        yield _line(known, head, what, (*at, key))
    yield from _controller(known, head, (*at, "controller"))


def _selector(upper: bool, keeps: str) -> str:
    if "pressure" in keeps:
        return "low or high select, by whether more output raises this pressure"
    return "low select" if upper else "high select"


def _floor(known: Known, name: str) -> Iterator[Mapping[str, Cell]]:
    at: Path = ("strategies", name, "stall_floor")
    head = {"Strategy": name, "Block": "stall floor", "Selector": "high select, has the last word",
            "External reset from": "the selected output"}
    yield _line(known, head, "margin to the stall line, of the flow", (*at, "margin"))
    yield _line(known, head, "lag of the pressure's measurement", (*at, "lag"))


def _beside(known: Known, name: str, strategy: Strategy) -> Iterator[Mapping[str, Cell]]:
    """Loops with elements of their own; their controllers stand on the tuning sheet."""
    none = na("no selector: an element of its own")
    if strategy.mid_ranging:
        head = {"Strategy": name, "Block": "mid-ranging: speed brings the vanes back",
                "External reset from": "its own output", "Selector": none}
        yield _line(known, head, "vanes' output to rest at",
                    ("strategies", name, "mid_ranging", "target"))
    if strategy.second_loop:
        head = {"Strategy": name, "Block": f"second loop: {strategy.second_loop.holds} by "
                f"{strategy.second_loop.moves}", "External reset from": "its own output",
                "Selector": none}
        control = strategy.second_loop.as_control(known.case.control)
        yield {**head, "Field": "setpoint", "Value": show(
            float(strategy.second_loop.setpoint), control.held_kind, known.system, DIGITS),
            UNIT: "as written", "Source": "scenario; not part of the sheets that are read back"}
    if strategy.cascade:
        head = {"Strategy": name, "Block": f"cascade: inner loop holds {strategy.cascade.holds}",
                "External reset from": "the outer one: the inner loop's reading", "Selector": none}
        yield {**head, "Field": "inner controller", "Value": "see the tuning sheet",
               UNIT: na("words"), "Source": "scenario"}


def _controller(known: Known, head: Mapping[str, Cell], at: Path) -> Iterator[Mapping[str, Cell]]:
    for key, what in CONTROLLER:
        value = known.cell((*at, key), "given by another key")
        if not isinstance(value, str):
            yield _line(known, head, what, (*at, key))


def _line(known: Known, head: Mapping[str, Cell], what: str, path: Path) -> Mapping[str, Cell]:
    value = known.cell(path, "not given")
    return {**head, "Field": what, "Value": value, UNIT: unit_of(value),
            "Source": known.where(path)}
