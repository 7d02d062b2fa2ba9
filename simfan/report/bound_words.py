"""What a terminal shows of a bound report and of sheets that were read back."""

from collections.abc import Iterator
from dataclasses import replace

from rich.console import Group, RenderableType

from simfan import __version__
from simfan.bound import Bound
from simfan.compare import Comparison, compare
from simfan.replayed import Replayed, Rerun
from simfan.report.bound_answer import answer
from simfan.report.bound_blocks import Grid, Heading, Points, Words
from simfan.report.items import item
from simfan.report.sections import Section
from simfan.report.table import side_by_side
from simfan.report.terminal import Words as Said
from simfan.report.tune_tables import Rows
from simfan.units import System

THEN, NOW = "as tested", "as typed"
WAITING = ("alarms", "procedures")
"""Sheets whose numbers do nothing until a run comes to them."""


def _first_page(bound: Bound, system: System) -> RenderableType:
    return Group(*_said(bound, system))


def _said(bound: Bound, system: System) -> Iterator[RenderableType]:
    for block in answer(bound, system).blocks:
        if isinstance(block, Words):
            yield Said(block.text, style="bold" if block.lead else "")
        elif isinstance(block, Heading):
            yield Said(f"\n{block.text}", style="bold")
        elif isinstance(block, Points):
            yield from map(item, block.items)
        elif isinstance(block, Grid):
            yield Said("")


def _proof(found: Replayed, system: System) -> RenderableType:
    return Group(*map(item, _proofs(found)))


def _proofs(found: Replayed) -> Iterator[str]:
    changed = sum(d.typed for d in found.differences)
    words = len(found.differences) - changed
    yield ("no typed number differs from what was tested" if not changed else
           f"{changed} typed {'cell differs' if changed == 1 else 'cells differ'} from what was "
           "tested")
    if words:
        yield (f"{words} {'word differs' if words == 1 else 'words differ'} beside the numbers: of "
               "them nothing is run; where the sheet says n/a and a number is typed in now, the "
               "control system has a setting that was never tested")
    for run in found.runs:
        yield f"{run.strategy}: {_one(run)}"
    yield from _unseen(found, changed)
    if found.version != __version__:
        yield (f"the sheets are of simfan {found.version}, this is {__version__}: another version "
               "may give other bits")


def _unseen(found: Replayed, changed: int) -> Iterator[str]:
    """What the runs do not tell."""
    alike = all(run.identical for run in found.runs)
    if not changed and not alike:
        yield ("the sheets are as they were written, the run is not: look at the scenario.toml "
               "beside them")
    elif changed and alike:
        yield ("what was changed does nothing in this run, or is the same number in another unit: "
               "that is no proof that it does nothing on the plant")
    if waits := sorted({d.sheet for d in found.differences if d.typed} & set(WAITING)):
        yield (f"a number of {' or '.join(waits)} shows in a run only if the run comes to that "
               "alarm, trip or step: what it does stands below only then")


def _one(run: Rerun) -> str:
    if run.identical:
        return f"the run comes out bit for bit ({run.found})"
    return (f"the run differs: {run.found}, on record {run.expected}; {difference(run)}")


def difference(run: Rerun) -> str:
    """Where two runs part, and how far the held value comes apart."""
    import numpy as np

    a, b = run.before, run.after
    if a.time.shape != b.time.shape or (a.time != b.time).any():
        return f"{len(a.time)} samples then, {len(b.time)} now"
    apart = np.zeros(len(a.time), dtype=bool)
    for name, values in a.traces.items():
        other = b.traces.get(name)
        if other is None or other.shape != values.shape:
            return f"the trace {name} is another one"
        apart |= ((values != other) & ~(np.isnan(values) & np.isnan(other))).any(axis=1)
    if not apart.any():
        return "every sample is alike, the log is not"
    return f"they part at {a.time[int(np.argmax(apart))]:g} s"


def _differences(found: Replayed, system: System) -> RenderableType | None:
    if not found.differences:
        return None
    rows = [[d.sheet, str(d.line), d.field, d.was, d.now, "yes" if d.typed else "no"]
            for d in found.differences]
    return Rows(("Sheet", "line", "field", "was", "now", "typed in"), lambda miss: rows)


def _effect(found: Replayed, system: System) -> RenderableType | None:
    parts: list[RenderableType] = []
    for run in found.runs:
        if not run.identical:
            parts += [Said(run.strategy), side_by_side(beside(run, found), system)]
    return Group(*parts) if parts else None


def beside(run: Rerun, found: Replayed) -> Comparison:
    """The run as it was tested, beside the one of the sheets as they are."""
    made = compare([run.before, run.after], found.case.criteria)
    then, now = (replace(r, name=name) for r, name in
                 zip(made.strategies, (THEN, NOW), strict=True))
    return replace(made, strategies=(then, now))


FIRST_PAGE: Section[Bound] = Section("answer", "", text=_first_page)
PROOF: Section[Replayed] = Section("proof", "", text=_proof)
REPLAY: tuple[Section[Replayed], ...] = (
    PROOF, Section("differences", "Changed", text=_differences),
    Section("effect", "What it does", text=_effect))
