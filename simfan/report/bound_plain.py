"""A bound report without the extra `pdf`: lines of even letters and the pictures, by matplotlib."""

import io
from collections.abc import Iterator, Sequence

from rich import box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from simfan import __version__
from simfan.report import ink
from simfan.report.bound_blocks import Block, Chapter, Grid, Heading, Picture, Points, Words
from simfan.report.items import item

ACROSS, DOWN = 165, 62
"""Letters and lines of a page, A4 across."""
PAGE_IN = (11.69, 8.27)
LETTER_PT, LINE_IN, MARGIN_IN = 7.6, 0.1165, 0.55
CAPTION_WIDE = 130


def pdf(title: str, origin: str, chapters: Sequence[Chapter]) -> bytes:
    """The document: the words of a chapter on pages of lines, each picture on one of its own."""
    from matplotlib.backends.backend_pdf import PdfPages

    paper = io.BytesIO()
    about = {"Title": title, "CreationDate": None, "Producer": f"simfan {__version__}"}
    with PdfPages(paper, metadata=about) as pages:
        for lines in _word_pages(title, origin, chapters):
            if isinstance(lines, Picture):
                _drawn(pages, lines)
            else:
                _written(pages, lines, origin)
    return paper.getvalue()


def _word_pages(title: str, origin: str, chapters: Sequence[Chapter]
                ) -> Iterator[list[str] | Picture]:
    lines = [title, ""]
    for chapter in chapters:
        lines += ["", chapter.title.upper(), ""]
        for block in chapter.blocks:
            if isinstance(block, Picture):
                yield from _cut(lines)
                lines = []
                yield block
            else:
                lines += _lines(block)
        yield from _cut(lines)
        lines = []


def _cut(lines: list[str]) -> Iterator[list[str]]:
    """Pages of as many lines as there is room for."""
    if any(line.strip() for line in lines):
        for first in range(0, len(lines), DOWN):
            yield lines[first:first + DOWN]


def _lines(block: Block) -> list[str]:
    paper = io.StringIO()
    console = Console(file=paper, width=ACROSS, markup=False, highlight=False, emoji=False,
                      legacy_windows=False)
    if isinstance(block, Words):
        console.print(Text(block.text.upper() if block.lead else block.text))
    elif isinstance(block, Heading):
        console.print(Text(f"\n{block.text}"))
    elif isinstance(block, Points):
        for words in block.items:
            console.print(Padding(item(words), (0, 0, 0, 1)))
    elif isinstance(block, Grid):
        console.print(_table(block))
        console.print(Text(block.caption))
    return [line.rstrip() for line in paper.getvalue().split("\n")]


def _table(block: Grid) -> Table:
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False,
                  show_header=bool(block.head))
    across = max([len(block.head), *(len(row) for row in block.rows)])
    for name in (*block.head, *[""] * (across - len(block.head))):
        table.add_column(Text(name), overflow="fold")
    for row in block.rows:
        table.add_row(*(Text(cell) for cell in row))
    return table


def _written(pages: object, lines: list[str], origin: str) -> None:
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(ink.STYLE):
        figure = Figure(figsize=PAGE_IN)
        for k, line in enumerate(lines):
            figure.text(MARGIN_IN / PAGE_IN[0], 1.0 - (MARGIN_IN + k * LINE_IN) / PAGE_IN[1],
                        ink.literal(line), family="DejaVu Sans Mono", fontsize=LETTER_PT, va="top")
        figure.text(0.5, 0.3 / PAGE_IN[1], ink.literal(
            f"{origin}. simfan {__version__}. A simulation: the maker's curve, local codes and "
            "licensed practice rule."), fontsize=6.5, ha="center", color=ink.GREY)
        pages.savefig(figure)  # type: ignore[attr-defined]


def _drawn(pages: object, block: Picture) -> None:
    """The picture in its own size, its caption below."""
    import textwrap

    import matplotlib as mpl

    with mpl.rc_context(ink.STYLE):
        figure = block.drawing.draw(True)
        wide = int(CAPTION_WIDE * figure.get_size_inches()[0] / PAGE_IN[0])
        figure.text(0.5, -0.02, ink.literal("\n".join(textwrap.wrap(block.caption, max(wide, 40)))),
                    ha="center", va="top", fontsize=8)
        pages.savefig(figure, bbox_inches="tight", pad_inches=0.4)  # type: ignore[attr-defined]
