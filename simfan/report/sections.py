"""The section interface: a report is a list of sections, each of which knows one thing to say.

    SOMETHING = Section("something", "Title in the reader's words", text=..., drawings=...)

On an HTML page the text's tables are tables and its lists are lists, with the drawings below; a
section that wants more there says so with `html=...`.

A command that has more to tell makes its own sections and lists them in its own page; nothing
here or in another section changes for it.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from rich.console import RenderableType

from simfan.report import ink
from simfan.units import System

if TYPE_CHECKING:
    from markupsafe import Markup
    from matplotlib.figure import Figure

Subject = TypeVar("Subject")
"""What a section speaks of: the answer of a command, such as a Comparison."""

LARGEST_SVG = 1_500_000
"""Bytes; beyond it dense lines become a bitmap inside the SVG."""
_KEPT: ContextVar[dict[str, tuple[Figure, bytes]] | None] = ContextVar("kept", default=None)
"""By the picture's name."""


@contextmanager
def drawn_once() -> Iterator[None]:
    """While one answer is written: a picture of its page and of its folder is drawn for both."""
    before = _KEPT.set({})
    try:
        yield
    finally:
        _KEPT.reset(before)


@dataclass(frozen=True)
class Drawing:
    """A picture that is drawn when it is asked for, as SVG and PNG."""

    name: str
    """File name without its ending; may lie in a folder, such as "map/power"."""
    draw: Callable[[bool], Figure]
    """`draw(flat)`; with `flat` dense lines are a bitmap."""
    seen: str = ""
    """What to see in it, for a page; "" leaves it at its name."""

    def svg(self) -> bytes:
        """The same data give the same bytes."""
        return self._drawn()[1]

    def save(self, folder: Path) -> list[Path]:
        """Write .svg and .png; the paths. OSError where the folder cannot be written."""
        figure, svg = self._drawn()
        paths = [folder / f"{self.name}.svg", folder / f"{self.name}.png"]
        paths[0].parent.mkdir(parents=True, exist_ok=True)
        paths[0].write_bytes(svg)
        paths[1].write_bytes(_bytes(figure, "png", {"Software": None}))
        return paths

    def _drawn(self) -> tuple[Figure, bytes]:
        """The figure, and the SVG that was made of it first."""
        kept = _KEPT.get()
        if kept is None:
            return self._anew()
        if self.name not in kept:
            kept[self.name] = self._anew()
        return kept[self.name]

    def _anew(self) -> tuple[Figure, bytes]:
        nameless = {"Date": None, "Creator": None}
        figure = self.draw(False)
        svg = _bytes(figure, "svg", nameless)
        if len(svg) > LARGEST_SVG:
            svg = _bytes(self.draw(True), "svg", nameless)
        return figure, svg


def _bytes(figure: Figure, kind: str, about: dict[str, None]) -> bytes:
    """The figure as a file's content; ticks are made while it is drawn, so in its own style."""
    import matplotlib as mpl

    paper = io.BytesIO()
    with mpl.rc_context(ink.STYLE):
        figure.savefig(paper, format=kind, metadata=about)
    return paper.getvalue()


def _nothing(subject: Any, system: System) -> None:
    """No text."""


def _none(subject: Any, system: System) -> Iterable[Drawing]:
    return ()


@dataclass(frozen=True)
class Fragment:
    """A section's part of an HTML page."""

    body: Markup
    script: str = ""
    """Runs once the page and the plotting library are there; "" for none, and a page without any
    carries no library."""


@dataclass(frozen=True)
class Section(Generic[Subject]):
    """One thing a report says: in words on a terminal, in pictures in a folder, on an HTML page."""

    key: str
    title: str
    """Printed above the text; "" for none."""
    text: Callable[[Subject, System], RenderableType | None] = _nothing
    """What to print; None where there is nothing to say, and the title is left out too."""
    drawings: Callable[[Subject, System], Iterable[Drawing]] = _none
    html: Callable[[Subject, System], Fragment | None] | None = None
    """Its part of an HTML page; None there where it has nothing to say. Left out, the part is made
    of `text` and `drawings`."""
