"""Results at a Python prompt and in a notebook: the tables of the report, and of a run its traces.

    comparison   title, answer, the comparison table
    result       of one strategy: title, verdict, its column of that table
    history      title, how long, each trace from start to end
    judgement    of a trend, and
    fit          what the terminal shows of either
"""

import io
import sys
from collections.abc import Iterator
from functools import singledispatch
from typing import Any

import numpy as np
from markupsafe import Markup
from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.table import Table

from simfan.compare import Comparison, StrategyResult, together
from simfan.fit_answer import FitAnswer
from simfan.history import Array, History
from simfan.report import markup
from simfan.report.answer import answer
from simfan.report.table import PLAIN_LINES, TABLE
from simfan.report.terminal import Words, console
from simfan.trends.answer import TrendJudgement
from simfan.units import significant

STYLE = Markup(
    "<style>.simfan th, .simfan td {text-align: right; padding: .1em .6em} "
    ".simfan th[scope=row], .simfan th[scope=colgroup], .simfan p {text-align: left} "
    ".simfan th[scope=row] {font-weight: normal} .simfan .miss {font-weight: bold}</style>")
"""Of the piece alone: nothing is fetched, and colours stay those of the notebook."""


@singledispatch
def drawn(result: Any) -> RenderableType:
    """What rich prints of a result. TypeError for anything that is not one."""
    raise TypeError(f"{type(result).__name__} is not a result of simfan")


@drawn.register
def _comparison(result: Comparison) -> RenderableType:
    return _below(result.title, answer(result), TABLE.text(result, "si"))


@drawn.register
def _strategy(result: StrategyResult) -> RenderableType:
    alone = together([result], result.criteria)
    return _below(alone.title, f"{result.name}: {result.verdict}", TABLE.text(alone, "si"))


@drawn.register
def _history(result: History) -> RenderableType:
    facts, stopped = result.facts, result.audit.stopped
    ended = f"; it stopped: {stopped}" if stopped else ""
    return _below(facts.title, f"{facts.strategy} ({facts.method}): {result.time[-1]:g} s, "
                  f"{len(result.time)} samples{ended}", _Traces(result))


@drawn.register
def _judgement(result: TrendJudgement) -> RenderableType:
    from simfan.report import page, trend_page  # with all that draws

    return Group(*page.said(result, "si", trend_page.JUDGED))


@drawn.register
def _fit(result: FitAnswer) -> RenderableType:
    from simfan.report import fit_page, page

    return Group(*page.said(result, "si", fit_page.FIT))


def words(result: Any) -> str:
    """The result as text, as wide as the terminal and in signs that it can show."""
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    paper = io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="\n")
    console(paper).print(drawn(result))
    paper.seek(0)
    return "\n".join(line.rstrip() for line in paper.read().rstrip().splitlines())


def html(result: Any) -> str:
    """The result as a piece of an HTML page; its words are escaped."""
    return str(Markup('<div class="simfan">{}\n{}</div>').format(STYLE, markup.html(drawn(result))))


def _below(title: str, sentence: str, table: RenderableType | None) -> RenderableType:
    return Group(Words(title, style="bold"), Words(""), Words(sentence), Words(""), table or "")


class _Traces:
    """A row for each trace."""

    def __init__(self, history: History) -> None:
        self._history = history

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        lines = PLAIN_LINES if options.ascii_only else box.SIMPLE_HEAD
        table = Table(box=lines, padding=0, pad_edge=False, show_edge=False, header_style="bold")
        table.add_column("", overflow="fold")
        for heading in ("start", "lowest", "highest", "end"):
            table.add_column(heading, width=9, justify="right")
        for name, values in self._history.columns()[1:]:
            table.add_row(Words(name), *map(_number, _told(values)))
        yield table


def _told(values: Array) -> tuple[float, ...]:
    """Start, lowest, highest, end; nan where no sample is a number."""
    known = values[np.isfinite(values)]
    lowest, highest = (known.min(), known.max()) if known.size else (np.nan, np.nan)
    return float(values[0]), float(lowest), float(highest), float(values[-1])


def _number(value: float) -> str:
    return significant(value) if np.isfinite(value) else "-"
