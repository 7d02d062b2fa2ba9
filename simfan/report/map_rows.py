"""The rows of the table across strategies of an operating map, in the reader's units."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from operator import attrgetter

from simfan.operating_map import OperatingPoint, StrategyMap
from simfan.overview import SHARES, Overview, flow_ratio, held_ratio
from simfan.units import System, convert, preferred, show, significant

Which = Callable[[StrategyMap], OperatingPoint | None]


@dataclass(frozen=True)
class Row:
    """One line: its words, and its cell for a strategy, with whether that misses a limit."""

    name: str
    unit: str
    cell: Callable[[StrategyMap], tuple[str, bool]]


@dataclass(frozen=True)
class Block:
    """Rows under one heading."""

    title: str
    rows: tuple[Row, ...]


def blocks(overview: Overview, system: System) -> tuple[Block, ...]:
    """All rows, in the order in which they are read."""
    found = [Block("Range within the limits", tuple(_range(overview, system))),
             Block("Power at shares of design flow", tuple(_part_load(overview, system)))]
    if overview.years:
        found.append(Block("In a year of the load profile", tuple(_year(overview))))
    return tuple(found)


def _range(overview: Overview, system: System) -> Iterator[Row]:
    kind = overview.map.held_kind
    for name in ("highest", "lowest"):
        which = attrgetter(f"turndown.{name}")
        yield _end(f"{name} flow", "volume flow", system, which, _flow)
        if kind != "volume flow":
            yield _end("held there", kind, system, which, _held)
    ratio = flow_ratio if kind == "pressure" else lambda t: held_ratio(t, kind)
    yield Row("turndown", "to 1", lambda s: (number(ratio(s.turndown)), False))
    yield Row("lowest stall margin", "%", lambda s: (_least_margin(s), False))
    yield Row("highest motor load", "%", lambda s: (_most_load(s), False))
    yield Row("gain, largest/smallest", "", lambda s: (number(s.gain_ratio), False))


def _end(name: str, kind: str, system: System, which: Which,
         of: Callable[[OperatingPoint], float]) -> Row:
    unit = preferred(kind, system)

    def cell(found: StrategyMap) -> tuple[str, bool]:
        point = which(found)
        return (significant(convert(of(point), kind, unit)), False) if point else ("none", True)

    return Row(name, unit, cell)


def _flow(point: OperatingPoint) -> float:
    return point.flow


def _held(point: OperatingPoint) -> float:
    return point.held


def within(found: StrategyMap) -> list[OperatingPoint]:
    """The points from the highest within the limits to the lowest, both among them."""
    ends = [p for p in (found.turndown.highest, found.turndown.lowest) if p]
    if not ends:
        return []
    top, low = ends[0].flow, ends[-1].flow
    return [*ends, *(p for p in found.points if low < p.flow < top)]


def _least_margin(found: StrategyMap) -> str:
    known = [p.stall_margin for p in within(found) if p.stall_margin is not None]
    return percent(min(known, default=None))


def _most_load(found: StrategyMap) -> str:
    loads = [p.motor_load for p in within(found)]
    return percent(max(loads, default=None))


def _part_load(overview: Overview, system: System) -> Iterator[Row]:
    """Shares of the flow for which the process is designed."""
    for k, share in enumerate(SHARES):
        flow = show(share * overview.part_load.design_flow, "volume flow", system)
        yield Row(f"at {flow} ({100.0 * share:.0f} %)", "kW", _power(overview, k))


def _power(overview: Overview, k: int) -> Callable[[StrategyMap], tuple[str, bool]]:
    def cell(found: StrategyMap) -> tuple[str, bool]:
        points = overview.part_load.points.get(found.name, ())
        point = points[k] if k < len(points) else None
        if point is None:
            return "-", False
        return significant(1e-3 * point.electrical_power), bool(point.missed)

    return cell


def _year(overview: Overview) -> Iterator[Row]:
    """Rows that no strategy has a number for are left out."""
    currency = next((y.currency for y in overview.years.values()), "")
    for name, unit, field, is_miss in (
        ("from the supply", "kWh", "electrical_kwh", False),
        ("cost", currency, "cost", False),
        ("carbon dioxide", "kg", "co2_kg", False),
        ("saving", currency, "saving", False),
        ("payback", "years", "payback_years", False),
        ("not reachable", "h", "hours_not_reachable", True),
        ("beyond a limit", "h", "hours_out_of_criteria", True),
    ):
        if any(getattr(y, field) is not None for y in overview.years.values()):
            yield Row(name, unit, _of_year(overview, field, is_miss))


def _of_year(overview: Overview, field: str, is_miss: bool
             ) -> Callable[[StrategyMap], tuple[str, bool]]:
    def cell(found: StrategyMap) -> tuple[str, bool]:
        value = getattr(overview.years.get(found.name), field, None)
        rounded = None if value is None else round(value, 2)
        return number(rounded), is_miss and bool(rounded)

    return cell


def number(value: float | None, digits: int = 3) -> str:
    """Three digits; a dash where the number does not exist."""
    return "-" if value is None else significant(float(value), digits)


def percent(share: float | None) -> str:
    """In percent; what is nothing but rounding is zero."""
    return number(None if share is None else round(100.0 * share, 2))
