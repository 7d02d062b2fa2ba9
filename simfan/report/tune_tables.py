"""Tables of `simfan tune`: the process over the range; tunings side by side, margins and runs."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import degrees, isfinite

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType
from rich.measure import Measurement
from rich.table import Table

from simfan.loop_answer import LoopAnswer, LoopRun, LoopTuning, StrategyLoop
from simfan.report.answer import MISS
from simfan.report.map_rows import number
from simfan.report.table import PLAIN_LINES, PLAIN_MISS
from simfan.report.terminal import Words
from simfan.report.wording import reworded
from simfan.units import System, convert, preferred

ROBUST_ENOUGH = 2.0
"""Ms above which a tuning is marked. Common practice, no source."""
UNBOUNDED = 10_000
"""Columns of a console that bounds nothing."""
WIDEST_NAME = 30
"""Columns of a strategy's name above its tunings, before it goes on below."""


@dataclass(frozen=True)
class Column:
    """A head of one or more lines, and the cell of a tuning; `miss` is the sign of a miss."""

    head: str
    cell: Callable[[LoopTuning, str], str]


class Rows:
    """A table whose columns are named once and whose rows are made for the console's characters.

    A row of one cell is a heading.
    """

    def __init__(self, heads: Sequence[str], rows: Callable[[str], list[list[str]]]) -> None:
        self.heads, self.rows = heads, rows

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        lines = PLAIN_LINES if options.ascii_only else box.SIMPLE_HEAD
        table = Table(box=lines, padding=(0, 0, 0, 1), pad_edge=False, show_edge=False,
                      header_style="bold")
        rows = self.rows(PLAIN_MISS if options.ascii_only else MISS)
        table.add_column(Words(self.heads[0]), width=_widest(self.heads[0], rows), overflow="fold")
        for head in self.heads[1:]:
            table.add_column(Words(head), justify="right", overflow="fold")
        for row in rows:
            alone = len(row) == 1
            table.add_row(*(Words(cell, style="bold" if alone else "") for cell in row))
        yield table


def _widest(head: str, rows: Sequence[Sequence[str]]) -> int:
    """Columns of the first column: its longest word, of a heading only so many."""
    return max([*map(len, head.split("\n")),
                *(len(r[0]) if len(r) > 1 else min(len(r[0]), WIDEST_NAME) for r in rows)])


def process(answer: LoopAnswer, system: System) -> RenderableType:
    """Gain, lag and dead time over the range, from the least to the most."""
    return Rows(("strategy", "gain\n% per %", "largest/\nsmallest", "lag\ns", "dead time\ns"),
                lambda miss: [_process_row(s) for s in answer.strategies])


def _process_row(found: StrategyLoop) -> list[str]:
    stable = [p for p in found.points if p.stable]

    def ends(what: str) -> str:
        values = [v for p in stable if (v := getattr(p, what)) is not None]
        return f"{number(min(values))} to {number(max(values))}" if values else "-"

    return [found.name, ends("gain"), number(found.gain_ratio), ends("lag"), ends("dead_time")]


def told(answer: LoopAnswer, system: System) -> RenderableType | None:
    """What the rules were told of each strategy's process."""
    unit = preferred(answer.held_kind, system)
    known = [(s, p) for s in answer.strategies if (p := s.rule_point)]
    if not known:
        return None
    heads = ("strategy", f"point\n{unit}", "K\n% per %", "τ\ns", "θ\ns", "Ku\n% per %", "Pu\ns",
             "τ1\ns", "τ2\ns", "θ2\ns")
    return Rows(heads, lambda miss: [
        [s.name, number(convert(p.held, answer.held_kind, unit)), number(abs(p.gain)),
         number(p.lag), number(p.dead_time), number(p.ultimate_gain), number(p.ultimate_period),
         *(map(number, p.second) if p.second else ("-", "-", "-"))] for s, p in known])


class _Tunings:
    """Tuning, margins and run side by side as far as there is room, else below one another."""

    def __init__(self, answer: LoopAnswer, system: System) -> None:
        self.answer, self.system = answer, system
        self.groups = [_of_tuning(answer), _of_margins(answer, preferred(answer.held_kind, system))]
        self.groups += [_of_runs()] if answer.runs else []

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        whole: list[list[Column]] = []
        for group in self.groups:
            wider = [*whole[-1], *group] if whole else group
            if whole and self._fits(wider, console, options):
                whole[-1] = wider
            else:
                whole.append(group)
        for columns in whole:
            yield self._table(columns)
            yield Words("")
        miss = PLAIN_MISS if options.ascii_only else MISS
        yield Words(_legend(self.answer, self.system, miss), style="dim")

    def _fits(self, columns: Sequence[Column], console: Console, options: ConsoleOptions) -> bool:
        table = next(iter(self._table(columns).__rich_console__(console, options)))
        anywhere = options.update(max_width=UNBOUNDED)
        return Measurement.get(console, anywhere, table).maximum <= options.max_width

    def _table(self, columns: Sequence[Column]) -> Rows:
        def cells(name: str, t: LoopTuning, miss: str) -> list[str]:
            return [name, *(c.cell(t, miss) for c in columns)]

        def rows(miss: str) -> list[list[str]]:
            if _alone(self.answer):
                return [cells(s.name, s.tunings[0], miss) for s in self.answer.strategies]
            return [row for s in self.answer.strategies for row in (
                [s.name], *(cells(f"  {t.name}", t, miss) for t in s.tunings))]

        alone = _alone(self.answer)
        head = f"\n\nstrategy ({alone})" if alone else "\n\ntuning"
        return Rows([head, *(c.head for c in columns)], rows)


def _alone(answer: LoopAnswer) -> str | None:
    """The tuning's name, where every strategy has one and the same alone."""
    names = {tuple(t.name for t in s.tunings) for s in answer.strategies}
    only = names.pop() if len(names) == 1 else ()
    return only[0] if len(only) == 1 else None


def tunings(answer: LoopAnswer, system: System) -> RenderableType:
    """Every tuning of every strategy."""
    return _Tunings(answer, system)


def _legend(answer: LoopAnswer, system: System, miss: str) -> str:
    unsettled = ", or not settled before the load step" if answer.runs else ""
    marked = (f"{miss} Ms above {number(ROBUST_ENOUGH)}, or unstable at a point of the range"
              f"{unsettled}.  -  no such number; the JSON says why.")
    if not answer.runs:
        return marked
    some = next((t.run for s in answer.strategies for t in s.tunings if t.run), None)
    hundred = reworded(f" 100 % of IAE and of the load step's largest deviation is "
                       f"{some.percent_of}; overshoot is of the step.", system) if some else ""
    return f"{marked} Runs, with all limits of the plant: {reworded(answer.runs, system)}.{hundred}"


def _of_tuning(answer: LoopAnswer) -> list[Column]:
    """Without the derivative time where no tuning has one."""
    some = any(t.derivative for s in answer.strategies for t in s.tunings)
    derivative = [Column("\nTd\ns", lambda t, _: number(t.derivative))] if some else []
    return [Column("\nKc\n%/%", lambda t, _: number(t.gain)),
            Column("\nTi\ns", lambda t, _: number(t.reset)), *derivative,
            Column("\nTi/Kc\ns", lambda t, _: number(t.load_rejection))]


def _of_margins(answer: LoopAnswer, unit: str) -> list[Column]:
    kind = answer.held_kind

    def step(t: LoopTuning, _: str) -> str:
        if t.sensitivity is None or not isfinite(t.largest_step):
            return "-"
        return number(convert(t.largest_step, kind, unit) - convert(0.0, kind, unit))

    return [Column("\n\nMs", _sensitivity),
            Column("\ngain\nmargin", lambda t, _: number(t.gain_margin)),
            Column("phase\nmargin\n°", lambda t, _: number(
                None if t.phase_margin is None else degrees(t.phase_margin))),
            Column("extra\ndead\ntime s", lambda t, _: number(t.delay_margin)),
            Column(f"largest\nstep\n{unit}", step)]


def _sensitivity(t: LoopTuning, miss: str) -> str:
    if t.sensitivity is None:
        return miss
    return f"{miss} {number(t.sensitivity)}" if t.sensitivity > ROBUST_ENOUGH else \
        number(t.sensitivity)


def _of_runs() -> list[Column]:
    def of(what: str) -> Callable[[LoopTuning, str], str]:
        return lambda t, _: _run_number(t.run, what)

    return [Column("setp.\nIAE\n% s", of("setpoint_iae")),
            Column("over-\nshoot\n%", of("overshoot")),
            Column("\nsettles\ns", _settles),
            Column("load\nIAE\n% s", of("load_iae")),
            Column("load\nmost\n%", of("load_deviation"))]


def _settles(t: LoopTuning, miss: str) -> str:
    if t.run is not None and t.run.settling is None:
        return f"{miss} no"
    return _run_number(t.run, "settling")


def _run_number(run: LoopRun | None, what: str) -> str:
    value = getattr(run, what) if run else None
    return number(None if value is None else round(value, 4))
