"""A bound report from its first page to its last, as blocks for any paper."""

from collections.abc import Iterator, Sequence
from functools import partial

from simfan.bound import Bound
from simfan.compare import Comparison
from simfan.report import map_page, marks, stress_page, tune_page
from simfan.report.account import AUDIT
from simfan.report.answer import CAUTIONS
from simfan.report.bars import BARS
from simfan.report.basis import (
    ASSUMED_HEAD,
    EVERY,
    SEQUENCE_HEAD,
    assumed_rows,
    sequence_rows,
    tuning_rows,
)
from simfan.report.bound_answer import BREAKS, RULES, answer
from simfan.report.bound_blocks import (
    Block,
    Chapter,
    Grid,
    Heading,
    Picture,
    Points,
    Words,
    of_sections,
    picture,
)
from simfan.report.bound_captions import caption
from simfan.report.excursions import EXCURSIONS
from simfan.report.maps import of_map, of_trends
from simfan.report.names import file_names
from simfan.report.robustness import ROBUSTNESS
from simfan.report.sections import Drawing
from simfan.report.table import TABLE
from simfan.sheets.basis import NOT_MODELLED
from simfan.sheets.sheet import Sheet
from simfan.stress_answer import StressAnswer
from simfan.units import System

STRESS = tuple(s for s in stress_page.STRESS if s.key != "stress-cautions")
UNITS = "Units stand in brackets behind a name, or in the column Unit."


def chapters(bound: Bound, system: System) -> tuple[Chapter, ...]:
    """All of them, in order."""
    found = (answer(bound, system), _comparison(bound.comparison, system),
             _maps(bound.comparison, system), _trends(bound.comparison, system),
             _range(bound, system), _loops(bound, system), _stress(bound, system),
             *_sheets(bound), _assumed(bound, system), _cautions())
    return tuple(c for c in found if c.blocks)


def _comparison(comparison: Comparison, system: System) -> Chapter:
    return Chapter("comparison", "The strategies side by side", (
        *of_sections((ROBUSTNESS, TABLE, BARS, EXCURSIONS), comparison, system, caption),
        Heading("Tuning and sequences used"), *_tuning(comparison, system)))


def _tuning(comparison: Comparison, system: System) -> Iterator[Block]:
    """A column for each strategy."""
    yield Grid(("Setting", *(r.name for r in comparison.strategies)),
               tuple(map(tuple, tuning_rows(comparison, system))))
    paths = tuple(sequence_rows(comparison))
    if paths:
        yield Grid(SEQUENCE_HEAD, paths, "An element that is not named stands where the "
                   "controller says.", text=True)


def _maps(comparison: Comparison, system: System) -> Chapter:
    """Each strategy's path over the fan map."""
    names = file_names([r.name for r in comparison.strategies])
    drawings = [Drawing(f"map-{name}", partial(of_map, r, system))
                for r, name in zip(comparison.strategies, names, strict=True)]
    return Chapter("maps", "Over the fan map",
                   (*_events(comparison, system),
                    *(picture(d, caption, half=True) for d in drawings)))


def _events(comparison: Comparison, system: System) -> Iterator[Block]:
    events = marks.events(comparison.strategies[0].history, system)
    if events:
        yield Grid(("Event", "at [s]", "what"),
                   tuple((e.mark, f"{e.at_s:g}", e.words) for e in events),
                   "The events of the timeline, by the numbers that stand in the pictures.",
                   text=True)


def _trends(comparison: Comparison, system: System) -> Chapter:
    """On the screen lines that can be zoomed stand in their place."""
    names = file_names([r.name for r in comparison.strategies])
    drawings = [Drawing(f"trends-{name}", partial(of_trends, r, system))
                for r, name in zip(comparison.strategies, names, strict=True)]
    return Chapter("over-time", "Over time",
                   tuple(picture(d, caption, on_paper=True) for d in drawings))


def _range(bound: Bound, system: System) -> Chapter:
    return Chapter("operating-map", "Over the whole range, at rest", tuple(of_sections(
        map_page.IN_A_REPORT, bound.overview, system, caption)))


def _loops(bound: Bound, system: System) -> Chapter:
    """All loops in tables, pictures over the range for the strategies of the sheets."""
    if bound.loops is None:
        return Chapter("loops", "The loops over the range", (Words(bound.why_no_loops),))
    kept = tuple(s for s in tune_page.sections(bound.loops) if s.key != "tune-settings")
    blocks = of_sections(kept, bound.loops, system, caption)
    wanted = tuple(f"tuning/over-range/{name}" for name in file_names(bound.names)) or ("tuning/",)
    said = Words('"As given" is the tuning as it is typed in, rounded; "robust" is the one that is '
                 "sought anew with the rounded numbers.")
    return Chapter("loops", "The loops over the range", (said, *(
        b for b in blocks if not isinstance(b, Picture)
        or not b.drawing.name.startswith("tuning/over-range/") or b.drawing.name in wanted)))


def _stress(bound: Bound, system: System) -> Chapter:
    if bound.stress is None:
        why = Words(f"Not searched: {bound.why_no_stress}.")
        return Chapter("stress", BREAKS, (why,))
    said = (Words(bound.stress_assumed),) if bound.stress_assumed else ()
    return Chapter("stress", BREAKS, (*said, *_searched(bound.stress, system)))


def _searched(found: StressAnswer, system: System) -> Iterator[Block]:
    yield from of_sections(STRESS, found, system, caption)


def _sheets(bound: Bound) -> Sequence[Chapter]:
    """One chapter for each sheet, so that each begins on a page of its own."""
    if not bound.sheets:
        return (Chapter("sheets", "Sheets to type from", (Words(
            "None: no strategy was chosen, so there is nothing to type in. Name one with "
            "--strategy to have its sheets all the same."),)),)
    return [Chapter(f"sheet-{s.key}", f"Sheet: {s.title}", (Words(s.says), *_tables(s)))
            for s in bound.sheets]


MOST_ACROSS = 12
"""Columns of a sheet that stand beside one another on a page; a wider one is set line by line."""


def _tables(sheet: Sheet) -> Iterator[Block]:
    words = f"{sheet.key}.csv in the folder sheets, line by line. {UNITS}"
    if all(cell == "n/a" for cell in sheet.text[0][2:]):
        yield Words(f"{sheet.text[0][1]}.")
        return
    if len(sheet.columns) <= MOST_ACROSS:
        yield Grid(sheet.columns, tuple(map(tuple, sheet.text)), words, wide=True)
        return
    lines = list(zip(*sheet.text, strict=True))
    for first in range(0, len(sheet.rows), 4):
        yield Grid((f"{sheet.columns[0]}", *lines[0][first:first + 4]),
                   tuple((name, *cells[first:first + 4])
                         for name, cells in zip(sheet.columns[1:], lines[1:], strict=True)),
                   words if first == 0 else "", wide=True)


def _assumed(bound: Bound, system: System) -> Chapter:
    rows = tuple(assumed_rows(bound.comparison))
    blocks: list[Block] = [Words("Every default that was used, and where it comes from."),
                           Grid(ASSUMED_HEAD, rows, f"Strategies: {EVERY}, or those named.",
                                wide=True)]
    return Chapter("assumed", "Assumed, and where it comes from",
                   (*blocks, *of_sections((AUDIT,), bound.comparison, system, caption)))


def _cautions() -> Chapter:
    return Chapter("cautions", "Be careful", (
        Words(CAUTIONS[0]), Words(RULES), Heading("Not modelled"),
        Points(NOT_MODELLED)))
