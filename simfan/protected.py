"""What the protection of a run did: lines of its log, rows of the cause-and-effect table."""

from typing import Any

from simfan.history import Guarded, Happening
from simfan.kernel.layout import NOTED, UNNOTED, State
from simfan.plant.case import Case
from simfan.plant.protection import Protection

BESIDES = "more acts and resets of the protection, for which the list had no room"


def happened(case: Case, step: float, state: State) -> list[Happening]:
    """Every act and every reset [s from the steps], as far as the kernel's list had room."""
    done = [Happening(float(acted.tick * step), _words(case.protection[acted.guard], acted.acts))
            for acted in _listed(state)]
    if more := int(state.counts[UNNOTED]):
        done.append(Happening(done[-1].at_s, f"{more} {BESIDES}"))
    return done


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
