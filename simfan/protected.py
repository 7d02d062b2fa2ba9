"""What the protection of a run did: lines of its log, rows of the cause-and-effect table."""

from typing import Any

import numpy as np

from simfan.history import Array, Guarded, Happening
from simfan.kernel.layout import NOTED, UNNOTED, State
from simfan.plant.case import Case
from simfan.plant.protection import Protection

ALIKE = 0.001
"""Outputs that differ by no more are the same."""
BESIDES = "more acts and resets of the protection, for which the list had no room"


def happened(case: Case, step: float, state: State) -> list[Happening]:
    """Every act and every reset [s from the steps], as far as the kernel's list had room."""
    done = [Happening(float(acted.tick * step), _words(case.protection[acted.guard], acted.acts))
            for acted in _listed(state)]
    if more := int(state.counts[UNNOTED]):
        done.append(Happening(done[-1].at_s, f"{more} {BESIDES}"))
    return done


def raised(case: Case, step: float, state: State, time: Array, output: Array) -> list[Happening]:
    """Every run-back that took the output up, and so to more flow: of (n,) outputs [1] at times
    [s]."""
    found = []
    for acted in _listed(state):
        row, at = case.protection[acted.guard], float(acted.tick * step)
        before = float(output[max(int(np.searchsorted(time, at - 1e-9)) - 1, 0)])
        if acted.acts and row.effect == "run back" and (row.output or 0.0) > before + ALIKE:
            found.append(Happening(at, f"warning: this run-back takes the output up from "
                                       f"{100.0 * before:.3g} %, to more flow"))
    return found


def guarded(case: Case, step: float, state: State) -> tuple[Guarded, ...]:
    """Each row of the table with the times at which it acted and was reset."""
    listed = _listed(state)

    def times(place: int, acts: int) -> tuple[float, ...]:
        mine = (listed.guard == place) & (listed.acts == acts)
        return tuple(float(t) for t in listed.tick[mine] * step)

    return tuple(
        Guarded(cause=row.watched, effect=row.effect.replace(" ", "-"), output=row.output,
                delay=row.delay, reset=row.reset_words, bypass_s=row.bypass_at_start,
                acted_s=times(place, 1), reset_s=times(place, 0))
        for place, row in enumerate(case.protection))


def _listed(state: State) -> Any:
    return state.acted[:state.counts[NOTED]]


def _words(row: Protection, acts: int) -> str:
    cause, effect = row.words
    return f"{effect} ({cause})" if acts else f"{row.effect.replace(' ', '-')} reset ({cause})"
