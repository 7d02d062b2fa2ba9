"""From what a terminal shows to HTML: paragraphs, lists and real tables.

Every word is escaped. Whatever lays itself out by the width of its console is asked with one wide
enough for anything, so tables come whole.
"""

import io
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from markupsafe import Markup
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from simfan.report.ink import typeset
from simfan.report.items import Item

WIDE = 100_000
_TYPED = re.compile("`([^`]+)`")


def html(content: RenderableType) -> Markup:
    """Text, groups, lists and tables of the terminal as HTML."""
    parts = groupby(flat(content), key=lambda part: isinstance(part, Item))
    return Markup("\n").join(
        bullets(part.words for part in run if isinstance(part, Item)) if is_list
        else Markup("\n").join(map(_block, run))
        for is_list, run in parts)  # fmt: skip


def words(text: object) -> Markup:
    """Escaped, with units as they stand in print; what stands in backticks is what is typed."""
    return Markup(_TYPED.sub(r"<code>\1</code>", str(Markup.escape(typeset(str(text))))))


def bullets(lines: Iterable[str]) -> Markup:
    """A list."""
    entries = (Markup("<li>{}</li>").format(words(line)) for line in lines)
    return Markup("<ul>{}</ul>").format(Markup("").join(entries))


def table(head: Sequence[str], rows: Iterable[Sequence[object]], style: str = "") -> Markup:
    """A table; a cell that is a number in words stands on the right, markup stays markup."""
    top = Markup("").join(Markup('<th scope="col">{}</th>').format(words(h)) for h in head)
    body = Markup("\n").join(_row(row) for row in rows)
    return Markup('<div class="wide"><table class="{}">\n<thead><tr>{}</tr></thead>\n'
                  "<tbody>{}</tbody></table></div>").format(style, top, body)  # fmt: skip


def _row(cells: Sequence[object]) -> Markup:
    first, *others = cells
    head = Markup('<th scope="row">{}</th>').format(_inner(first))
    return Markup("<tr>{}{}</tr>").format(head, Markup("").join(map(cell, others)))


def cell(content: object, missed: bool = False) -> Markup:
    """One cell of a table."""
    number = not isinstance(content, Markup) and _is_number(str(content))
    kinds = " ".join(k for k, holds in (("number", number), ("miss", missed)) if holds)
    return Markup('<td class="{}">{}</td>').format(kinds, _inner(content))


def _inner(content: object) -> Markup:
    return content if isinstance(content, Markup) else words(content)


def _is_number(text: str) -> bool:
    return bool(text) and all(part.lstrip("-").replace(".", "", 1).isdigit() or part == "-"
                              for part in text.split(" + "))  # fmt: skip


def flat(content: RenderableType) -> Iterator[RenderableType]:
    """The parts in order; what lays itself out is asked for its parts."""
    if isinstance(content, Group):
        for part in content.renderables:
            yield from flat(part)
    elif isinstance(content, Padding):
        yield from flat(content.renderable)
    elif isinstance(content, (str, Text, Table, Item)):
        yield content
    elif hasattr(content, "__rich_console__"):
        console = _wide_console()
        for inner in content.__rich_console__(console, console.options):
            yield from flat(str(inner) if isinstance(inner, Segment) else inner)
    else:
        yield str(content)


def _wide_console() -> Console:
    return Console(file=io.TextIOWrapper(io.BytesIO(), encoding="utf-8"), width=WIDE)


def _block(part: RenderableType) -> Markup:
    if isinstance(part, Table):
        return _table(part)
    text = part.plain if isinstance(part, Text) else str(part)
    if not text.strip():
        return Markup("")
    heading = isinstance(part, Text) and "bold" in str(part.style)
    frame = Markup("<h3>{}</h3>") if heading else Markup("<p>{}</p>")
    return frame.format(words(text.strip()))


def _table(content: Table) -> Markup:
    """A terminal's table; a row of one bold cell is a heading across it."""
    columns = [[plain(c) for c in column.cells] for column in content.columns]
    head = [joined(plain(column.header)[0]) for column in content.columns]
    rows = [list(row) for row in zip(*columns, strict=True)]
    body = Markup("\n").join(_terminal_row(row) for row in rows)
    top = Markup("").join(Markup('<th scope="col">{}</th>').format(words(h)) for h in head)
    shown = Markup("<thead><tr>{}</tr></thead>").format(top) if content.show_header else ""
    return Markup('<div class="wide"><table class="figures">{}<tbody>{}</tbody></table></div>'
                  ).format(shown, body)  # fmt: skip


def _terminal_row(row: Sequence[tuple[str, bool]]) -> Markup:
    (first, bold), *others = row
    if bold and not any(text for text, _ in others):
        return Markup('<tr class="block"><th colspan="{}" scope="colgroup">{}</th></tr>').format(
            len(row), words(first.strip()))  # fmt: skip
    head = Markup('<th scope="row">{}</th>').format(words(first.strip()))
    cells = (cell(text, missed) for text, missed in others)
    return Markup("<tr>{}{}</tr>").format(head, Markup("").join(cells))


def plain(content: RenderableType) -> tuple[str, bool]:
    """A cell's words, and whether they are bold."""
    text = next(flat(content), "")
    return (text.plain, "bold" in str(text.style)) if isinstance(text, Text) else (str(text), False)


def joined(name: str) -> str:
    """A heading that the terminal broke after its hyphens, in one piece."""
    return name.replace("-\n", "-").replace("\n", " ")
