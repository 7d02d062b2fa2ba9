"""A table of each strategy: some of its operating points, from the highest flow to the lowest."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from string import ascii_lowercase

from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.padding import Padding
from rich.table import Table

from simfan.operating_map import OperatingPoint, StrategyMap
from simfan.overview import Overview
from simfan.report.answer import MISS
from simfan.report.items import item
from simfan.report.map_rows import number
from simfan.report.sections import Section
from simfan.report.table import PLAIN_LINES, PLAIN_MISS
from simfan.report.terminal import Words
from simfan.units import System, convert, preferred

SHOWN = 9
"""Points of the path; the ends within the limits come on top."""
NOT_REACHED = "no start with a slowly raised output comes to rest here"
NO_LINE = "no stall line at this setting: its curve has no peak"
MARGIN = "margin"
SHORT = {"inlet vanes": "vanes", "outlet damper": "damper", "inlet box damper": "damper"}


@dataclass(frozen=True)
class _Column:
    name: str
    unit: str
    value: Callable[[OperatingPoint], float | None]


def shown(found: StrategyMap) -> tuple[OperatingPoint, ...]:
    """Points spread over the path, with the ends within the limits, by falling flow."""
    last = max(1, len(found.points) - 1)
    steps = min(SHOWN, len(found.points)) - 1
    some = [found.points[round(k * last / max(1, steps))] for k in range(steps + 1)
            if round(k * last / max(1, steps)) < len(found.points)]
    ends = [p for p in (found.turndown.highest, found.turndown.lowest) if p and not _among(p, some)]
    return tuple(sorted([*some, *ends], key=lambda p: p.flow, reverse=True))


def _among(point: OperatingPoint, points: Sequence[OperatingPoint]) -> bool:
    return any(abs(point.flow - p.flow) < 1e-6 * max(abs(p.flow), 1e-9) for p in points)


def _columns(overview: Overview, found: StrategyMap, system: System) -> Iterator[_Column]:
    kind = overview.map.held_kind
    yield _quantity("flow", "volume flow", system, lambda p: p.flow)
    if kind != "volume flow":
        yield _quantity("held", kind, system, lambda p: p.held)
    yield _percent("output", lambda p: p.output)
    for name in found.elements:
        if name != "speed":
            yield _percent(SHORT.get(name, name), _position(name))
    yield _percent("speed", lambda p: p.speed)
    yield _quantity("pressure", "pressure", system, lambda p: p.pressure)
    yield _percent(MARGIN, lambda p: p.stall_margin)
    yield _Column("supply", "kW", lambda p: 1e-3 * p.electrical_power)
    yield _percent("load", lambda p: p.motor_load)
    unit = preferred(kind, system)
    yield _Column("gain", f"{unit}\nper %", lambda p: p.gain and _per_percent(p.gain, kind, unit))


def _per_percent(gain: float, kind: str, unit: str) -> float:
    return 0.01 * (convert(gain, kind, unit) - convert(0.0, kind, unit))


def _position(name: str) -> Callable[[OperatingPoint], float]:
    return lambda p: p.positions[name]


def _quantity(name: str, kind: str, system: System,
              value: Callable[[OperatingPoint], float]) -> _Column:
    unit = preferred(kind, system)
    return _Column(name, unit, lambda p: convert(value(p), kind, unit))


def _percent(name: str, value: Callable[[OperatingPoint], float | None]) -> _Column:
    def percent(p: OperatingPoint) -> float | None:
        share = value(p)
        return None if share is None else round(100.0 * share, 2)

    return _Column(name, "%", percent)


def _cell(column: _Column, point: OperatingPoint) -> Words:
    """A margin far left of the line has no end: -19554 % would say no more than "< -999"."""
    value = column.value(point)
    far = column.name == MARGIN and value is not None and value < -999.0
    return Words("< -999" if far else number(value))


class _Points:
    """The table of one strategy, with its remarks spelt out below."""

    def __init__(self, overview: Overview, found: StrategyMap, system: System) -> None:
        self.overview, self.found, self.system = overview, found, system

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        sign, lines = (PLAIN_MISS, PLAIN_LINES) if options.ascii_only else (MISS, box.SIMPLE_HEAD)
        points, columns = shown(self.found), [*_columns(self.overview, self.found, self.system)]
        letters = _letters(self.found, points)
        table = Table(box=lines, padding=0, pad_edge=False, show_edge=False, header_style="bold")
        for column in columns:
            table.add_column(Words(f"{column.name}\n{column.unit}"), justify="right", no_wrap=True)
        table.add_column(Words(""), justify="left", overflow="fold")
        for point in points:
            table.add_row(*(_cell(c, point) for c in columns),
                          _remarks(self.found, point, letters, sign))
        yield Padding(table, (0, 0, 0, 1))
        for words, letter in letters.items():
            yield item(f"{letter}  {words}")


def _remarks(found: StrategyMap, point: OperatingPoint, letters: dict[str, str],
             sign: str) -> Words:
    said = [sign] if point.missed else []
    said += [letters[words] for words in _said(found, point)]
    return Words(" ".join(said), style="bold red" if point.missed else "")


def _said(found: StrategyMap, point: OperatingPoint) -> Iterator[str]:
    """Limits missed, then what else is to be known of the point."""
    yield from point.missed
    if not point.reached:
        yield NOT_REACHED
    if point.stall_margin is None and point.flow > 0.0:
        yield NO_LINE
    for end in ("highest", "lowest"):
        at = getattr(found.turndown, end)
        if at is not None and _among(point, [at]):
            yield f"{end} within the limits"


def _letters(found: StrategyMap, points: Sequence[OperatingPoint]) -> dict[str, str]:
    """A letter for each thing said of any of these points."""
    words = dict.fromkeys(words for p in points for words in _said(found, p))
    return dict(zip(words, ascii_lowercase, strict=False))


def _text(overview: Overview, system: System) -> RenderableType:
    parts: list[RenderableType] = []
    for found in overview.map.strategies:
        if parts:
            parts.append(Words(""))
        parts += [Words(f"{found.name} ({found.method})", style="bold"),
                  _Points(overview, found, system)]
    return Group(*parts)


POINTS = Section("map-points", "Operating points, by falling flow", text=_text)
