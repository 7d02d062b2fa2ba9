"""What a bound report is made of, whatever it is printed on: words, lists, tables, pictures.

A section of another answer's page becomes blocks by what it shows on a terminal and what it draws,
so that paper says what the screen says.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from simfan.report import markup
from simfan.report.items import Item
from simfan.report.sections import Drawing, Section
from simfan.units import System

Caption = Callable[[Drawing], str]
"""Says of a picture what to see in it."""


@dataclass(frozen=True)
class Once(Drawing):
    """A drawing that is made once for screen and paper."""

    @cached_property
    def _made(self) -> bytes:
        return super().svg()

    def svg(self) -> bytes:
        """As of any drawing."""
        return self._made

    @property
    def shape(self) -> float:
        """Height over width."""
        width, height = _SIZE.search(self.svg().decode()).groups()  # type: ignore[union-attr]
        return float(height) / float(width)


_SIZE = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)"')


@dataclass(frozen=True)
class Words:
    """A paragraph."""

    text: str
    lead: bool = False
    """Whether it is the answer itself."""
    small: bool = False
    """Whether it is set small: a rule, a caution."""


@dataclass(frozen=True)
class Heading:
    """Within a chapter."""

    text: str


@dataclass(frozen=True)
class Points:
    """A list."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Grid:
    """A table; a row of one cell is a heading across it."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    wide: bool = False
    """Whether its cells are sentences, so that it is set small."""
    text: bool = False
    """Whether its cells are words, which stand on the left."""


@dataclass(frozen=True)
class Picture:
    """A figure with what to see in it."""

    drawing: Once
    caption: str
    half: bool = False
    """Whether two of them stand side by side."""
    on_paper: bool = False
    """Whether the screen has something better."""


def picture(drawing: Drawing, caption: Caption, half: bool = False, on_paper: bool = False
            ) -> Picture:
    """The picture with its caption."""
    return Picture(Once(drawing.name, drawing.draw), caption(drawing), half, on_paper)


Block = Words | Heading | Points | Grid | Picture


@dataclass(frozen=True)
class Chapter:
    """One part of the report."""

    key: str
    title: str
    blocks: tuple[Block, ...]


def of_sections(sections: Iterable[Section[Any]], answer: Any, system: System, caption: Caption,
                half: bool = False) -> Iterator[Block]:
    """What the sections say, one after the other."""
    for section in sections:
        text = section.text(answer, system)
        drawings = list(section.drawings(answer, system))
        if section.title and (text is not None or drawings):
            yield Heading(section.title)
        if text is not None:
            yield from of_text(text)
        for drawing in drawings:
            yield picture(drawing, caption, half)


def of_text(content: RenderableType) -> Iterator[Block]:
    """What a terminal shows, as blocks; entries that follow one another are one list."""
    items: list[str] = []
    for part in markup.flat(content):
        if isinstance(part, Item):
            items.append(part.words)
            continue
        if items:
            yield Points(tuple(items))
            items = []
        yield from _block(part)
    if items:
        yield Points(tuple(items))


def _block(part: RenderableType) -> Iterator[Block]:
    if isinstance(part, Table):
        yield _grid(part)
        return
    words = (part.plain if isinstance(part, Text) else str(part)).strip()
    if words and isinstance(part, Text) and "bold" in str(part.style):
        yield Heading(words)
    elif words:
        yield Words(words)


def _grid(content: Table) -> Grid:
    columns = [[markup.plain(c)[0].strip() for c in column.cells] for column in content.columns]
    head = (markup.joined(markup.plain(column.header)[0]) for column in content.columns)
    rows = tuple(_row(row) for row in zip(*columns, strict=True))
    return Grid(tuple(head) if content.show_header else (), rows)


def _row(cells: Sequence[str]) -> tuple[str, ...]:
    """One cell alone where the others are empty."""
    return (cells[0],) if cells[0] and not any(cells[1:]) else tuple(cells)
