"""Above the trends of a run with procedures: which one was under way, and what happened when, in a
word or two."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from simfan.history import History
from simfan.report import ink

HEIGHT = 1.25
"""Of the band, beside a panel of height 1."""
LANES = 6
"""Rows of words below the row of procedures."""
LETTER = 0.0115
"""Width of a letter, of the axis."""
LONGEST = 30
"""Letters of a mark; what is longer is cut."""


@dataclass(frozen=True)
class Mark:
    """A word at an instant."""

    at_s: float
    word: str


def wanted(run: History) -> bool:
    """Whether the run has procedures to show."""
    return bool(run.facts.procedures)


def marks(run: History) -> list[Mark]:
    """What is marked, in the order of time: events, steps of procedures, protections that acted."""
    found = [Mark(h.at_s, h.short) for h in run.log if h.short and h.short not in _names(run)]
    found += [Mark(at, row.effect) for row in run.facts.protection for at in row.acted_s]
    return sorted(found, key=lambda mark: mark.at_s)


def _names(run: History) -> set[str]:
    """Procedures have bars instead."""
    return {carried.name for carried in run.facts.procedures}


def draw(axes: Axes, run: History) -> None:
    """Bars of the procedures on top, below them a line and a word for each mark."""
    end = float(run.time[-1])
    axes.set_xlim(run.time[0], end)
    axes.set_ylim(LANES, -1.15)
    for carried in run.facts.procedures:
        until = end if carried.ended_s is None else carried.ended_s
        axes.barh(-0.6, until - carried.begun_s, left=carried.begun_s, height=0.8,
                  color="#DCE6F0", edgecolor=ink.GREY, lw=0.6)
        axes.text(carried.begun_s + 0.003 * end, -0.6, _said(carried.name, carried.outcome),
                  va="center", fontsize=6.5)
    for mark, lane, left in placed(marks(run), float(run.time[0]), end):
        axes.plot([mark.at_s, mark.at_s], [-0.2, lane + 0.5], color=ink.GREY, lw=0.5, zorder=0.5)
        axes.text(mark.at_s + (-1 if left else 1) * 0.003 * end, lane + 0.5,
                  ink.literal(_cut(mark)), va="center", ha="right" if left else "left",
                  fontsize=6.5, bbox={"fc": "white", "ec": "none", "pad": 0.4})
    axes.set_axis_off()


def _said(name: str, outcome: str) -> str:
    return name if outcome in ("complete", "under way") else f"{name}, {outcome}"


def _cut(mark: Mark) -> str:
    return mark.word if len(mark.word) <= LONGEST else mark.word[:LONGEST - 1] + "…"


def placed(found: Sequence[Mark], begin: float, end: float) -> Iterable[tuple[Mark, int, bool]]:
    """(mark, lane, whether its word stands left of its line): each in the first lane where it hides
    no other, or in the one that is free soonest."""
    span = end - begin
    free = [begin] * LANES
    for mark in found:
        wide = (len(_cut(mark)) + 2.0) * LETTER * span
        left = mark.at_s + wide > end
        starts = mark.at_s - wide if left else mark.at_s
        lane = next((k for k, at in enumerate(free) if at <= starts), free.index(min(free)))
        free[lane] = starts + wide
        yield mark, lane, left
