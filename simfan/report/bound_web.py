"""A bound report as one HTML page that opens without a network."""

from collections.abc import Iterable, Iterator
from functools import partial
from itertools import groupby
from typing import Any

from markupsafe import Markup

from simfan.bound import Bound
from simfan.report import markup, web
from simfan.report.bound_blocks import Block, Chapter, Grid, Heading, Picture, Points, Words
from simfan.report.inline import drawn
from simfan.report.sections import Fragment, Section
from simfan.report.zoom import ZOOMABLE
from simfan.units import System

NUMBERS = ("Every number is in result.json beside this page, with more digits, in SI and kWh; the "
           "sheets are in the folder sheets; report.pdf says the same on paper.")


def page(bound: Bound, chapters: Iterable[Chapter], system: System) -> str:
    """The page's text."""
    note = bound.comparison.scenario
    traced = f" (content {note.fingerprint})" if note.fingerprint else ""
    notes = [f"From {note.file or 'a scenario without a file'}{traced}. {NUMBERS}"]
    return web.page(bound, system, list(_sections(bound, chapters)), notes)


def _sections(bound: Bound, chapters: Iterable[Chapter]) -> Iterator[Section[Any]]:
    for chapter in chapters:
        yield Section(chapter.key, chapter.title, html=partial(_html, chapter, bound))


def _html(chapter: Chapter, bound: Bound, _: Any, system: System) -> Fragment:
    body = Markup("\n").join(_together(chapter.blocks))
    if chapter.key == "over-time" and ZOOMABLE.html:
        live = ZOOMABLE.html(bound.comparison, system)
        if live:
            return Fragment(live.body + body, live.script)
    return Fragment(body)


def _together(blocks: Iterable[Block]) -> Iterator[Markup]:
    """Half pictures that follow one another stand side by side; those for paper in their place."""
    for manner, run in groupby(blocks, key=_manner):
        body = Markup("\n").join(map(_block, run))
        yield Markup('<div class="{}">{}</div>').format(manner, body) if manner else body


def _manner(block: Block) -> str:
    if not isinstance(block, Picture):
        return ""
    return "paper" if block.on_paper else "side-by-side" if block.half else ""


def _block(block: Block) -> Markup:
    if isinstance(block, Words):
        kind = "answer" if block.lead else "note" if block.small else "words"
        return Markup('<p class="{}">{}</p>').format(kind, markup.words(block.text))
    if isinstance(block, Heading):
        return Markup("<h3>{}</h3>").format(markup.words(block.text))
    if isinstance(block, Points):
        return markup.bullets(block.items)
    if isinstance(block, Picture):
        return Markup("<figure>{}<figcaption>{}</figcaption></figure>").format(
            drawn(block.drawing, block.caption), markup.words(block.caption))
    return _grid(block)


def _grid(block: Grid) -> Markup:
    body = Markup("\n").join(_row(row, block) for row in block.rows)
    head = Markup("").join(Markup('<th scope="col">{}</th>').format(markup.words(h))
                           for h in block.head)
    top = Markup("<thead><tr>{}</tr></thead>").format(head) if block.head else Markup("")
    under = Markup('<p class="note">{}</p>').format(markup.words(block.caption)) \
        if block.caption else Markup("")
    return Markup('<div class="wide"><table class="{}">{}<tbody>{}</tbody></table></div>{}').format(
        "text fine sheet" if block.wide else "text" if block.text else "figures", top, body, under)


def _row(cells: tuple[str, ...], block: Grid) -> Markup:
    first, *others = cells
    if not others:
        return Markup('<tr class="block"><th colspan="{}" scope="colgroup">{}</th></tr>').format(
            max(len(block.head), 1), markup.words(first))
    row = Markup("").join(markup.cell(c, missed=c.startswith("✗")) for c in others)
    return Markup('<tr><th scope="row">{}</th>{}</tr>').format(markup.words(first), row)
