"""The page of `simfan tune`: what each loop has to control, and how far its tunings are from going
wrong."""

from collections.abc import Callable, Iterator
from math import degrees, isfinite

from rich import box
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.table import Table

from simfan.loop_answer import LoopAnswer, LoopTuning, StrategyLoop
from simfan.report.answer import MISS
from simfan.report.items import item
from simfan.report.map_rows import number
from simfan.report.sections import Section
from simfan.report.table import PLAIN_LINES, PLAIN_MISS
from simfan.report.terminal import Words
from simfan.units import System, convert, preferred, show, significant

ROBUST_ENOUGH = 2.0
"""Ms above which a tuning is marked. Common practice, no source."""
CAUTIONS = (
    "Margins are of small moves about points at rest, from a model. Tune on the plant with care, "
    "from the safe side, and by the rules of the site.",
    "Beyond the largest step an element's rate limit rules the loop, and the margins say too much.",
    "The maker's curve and stall line, local codes and licensed practice rule.",
)


class _Rows:
    """A table whose columns are named once and whose rows are made for the console's characters."""

    def __init__(self, heads: tuple[str, ...], rows: Callable[[str], list[list[str]]]) -> None:
        self.heads, self.rows = heads, rows

    def __rich_console__(
        self, console: Console, options: ConsoleOptions
    ) -> Iterator[RenderableType]:
        lines = PLAIN_LINES if options.ascii_only else box.SIMPLE_HEAD
        table = Table(box=lines, padding=(0, 0, 0, 1), pad_edge=False, show_edge=False,
                      header_style="bold")
        for k, head in enumerate(self.heads):
            table.add_column(Words(head), justify="right" if k else "left", overflow="fold",
                             no_wrap=k == 0)
        for row in self.rows(PLAIN_MISS if options.ascii_only else MISS):
            table.add_row(*map(Words, row))
        yield table


def _answer(answer: LoopAnswer, system: System) -> RenderableType:
    kind = answer.held_kind
    return item(f"{show(answer.low, kind, system)} to {show(answer.high, kind, system)}, scan "
                f"{significant(answer.scan)} s; robust: tuned so that the largest |S| over the "
                f"range, Ms, stays within {significant(answer.target)}")


def _process(answer: LoopAnswer, system: System) -> RenderableType:
    return _Rows(("strategy", "gain\n% per %", "largest/\nsmallest", "lag\ns", "dead time\ns"),
                 lambda miss: [_process_row(s) for s in answer.strategies])


def _process_row(found: StrategyLoop) -> list[str]:
    stable = [p for p in found.points if p.stable]

    def ends(what: str) -> str:
        values = [v for p in stable if (v := getattr(p, what)) is not None]
        return f"{number(min(values))} to {number(max(values))}" if values else "-"

    return [found.name, ends("gain"), number(found.gain_ratio), ends("lag"), ends("dead_time")]


def _tunings(answer: LoopAnswer, system: System) -> RenderableType:
    unit = preferred(answer.held_kind, system)
    heads = ("tuning", "gain\n%/%", "reset\ns", "Ms", f"worst at\n{unit}",
             "gain\nmargin", "phase\n°", "extra dead\ntime s", f"largest\nstep {unit}")
    return _Rows(heads, lambda miss: [
        row for s in answer.strategies
        for row in ([s.name, *[""] * 8], *(_row(t, answer, unit, miss) for t in s.tunings))])


def _row(found: LoopTuning, answer: LoopAnswer, unit: str, miss: str) -> list[str]:
    kind, ms = answer.held_kind, found.sensitivity
    marked = f"{miss} unstable" if ms is None else (
        f"{miss} {number(ms)}" if ms > ROBUST_ENOUGH else number(ms))
    phase = None if found.phase_margin is None else degrees(found.phase_margin)
    step = found.largest_step
    return [f"  {found.name}", number(found.gain), number(found.reset), marked,
            number(convert(found.worst_at, kind, unit)), number(found.gain_margin), number(phase),
            number(found.delay_margin),
            number(convert(step, kind, unit)) if isfinite(step) else "-"]


def _forms(answer: LoopAnswer, system: System) -> RenderableType:
    return Group(*(item(f"{s.name}, {t.name}: {forms(t, answer, system)}; {s.action} acting")
                   for s in answer.strategies for t in s.tunings[-1:]))


def forms(found: LoopTuning, answer: LoopAnswer, system: System) -> str:
    """The tuning as other systems want it."""
    width = answer.span[1] - answer.span[0]
    unit = preferred(answer.held_kind, system)
    engineering = 100.0 * found.gain / convert(width, answer.held_kind, unit)
    return (f"proportional band {significant(100.0 / found.gain)} %, "
            f"{significant(60.0 / found.reset)} repeats/min, integral gain "
            f"{significant(found.gain / found.reset)} 1/s, {significant(engineering)} % per {unit}")


def _findings(answer: LoopAnswer, system: System) -> RenderableType | None:
    lines = [said for s in answer.strategies for said in (*s.findings, *_high(s))]
    return Group(*map(item, lines)) if lines else None


def _high(found: StrategyLoop) -> list[str]:
    return [f"{found.name}: Ms of the tuning {t.name} is {significant(t.sensitivity)}, above "
            f"{significant(ROBUST_ENOUGH)}: little is needed to make it swing"
            for t in found.tunings if t.sensitivity and t.sensitivity > ROBUST_ENOUGH]


def _lines(words: tuple[str, ...]) -> RenderableType:
    return Group(*map(item, words))


ANSWER = Section("tune-answer", "Loops over the range common to all", text=_answer)
PROCESS = Section("tune-process", "What the loop has to control", text=_process)
TUNINGS = Section("tune-tunings", "Tunings and their margins", text=_tunings)
FORMS = Section("tune-forms", "The same in other forms and units", text=_forms)
FINDINGS = Section("tune-findings", "Worth knowing", text=_findings)
ASSUMED: Section[LoopAnswer] = Section(
    "tune-assumed", "Assumed", text=lambda answer, _: _lines(answer.assumed))
CAUTION: Section[LoopAnswer] = Section(
    "tune-cautions", "Be careful", text=lambda answer, _: _lines(CAUTIONS))
TUNE: tuple[Section[LoopAnswer], ...] = (
    ANSWER, PROCESS, TUNINGS, FORMS, FINDINGS, ASSUMED, CAUTION)
