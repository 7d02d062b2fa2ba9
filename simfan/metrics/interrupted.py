"""What no criterion of the scenario names and yet decides: a motor that is never on or that its
protection takes off, a start that fails, a rotor that a start heats more than its maker allows.

Without these a fan that is off would meet the criteria, at the least energy of all.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from simfan.history import Carried, History
from simfan.metrics.misses import Miss, figure, instant

UNFINISHED = {"broken off": "broken off before its release",
              "under way": "not released at the end of the run"}
"""Outcome → what is told of a start that ended so without its release."""


def interruptions(history: History) -> tuple[Miss, ...]:
    """All of them, as misses."""
    procedures = history.facts.procedures
    return (*_never_on(history), *_trips(history), *_undone(procedures), *_too_hot(procedures))


def _never_on(history: History) -> Iterator[Miss]:
    if not np.any(history.traces["electrical_power"] > 0.0):
        yield Miss("operation", None, 0.0, "", "the motor was never on, so nothing was judged")


def _trips(history: History) -> Iterator[Miss]:
    """Those of a motor that was on and that nobody was about to switch off."""
    trips = sorted({at: row.cause for row in reversed(history.facts.protection)
                    if row.effect == "trip" for at in row.acted_s
                    if _was_on(history, at) and not _stops(history.facts.procedures, at)}.items())
    if trips:
        at, cause = trips[0]
        words = f"tripped at {figure(instant(at))} s ({cause}){_more(len(trips))}"
        yield Miss("trips", float(len(trips)), 0.0, "", words)


def _was_on(history: History, at: float) -> bool:
    """A trip takes the supply from the scan after it on, so its own sample still has it."""
    k = min(int(np.searchsorted(history.time, at - 1e-9)), history.time.size - 1)
    return bool(np.any(history.traces["electrical_power"][k] > 0.0))


def _stops(procedures: Sequence[Carried], at: float) -> bool:
    return any(c.name == "stop" and c.begun_s <= at and (c.ended_s is None or at <= c.ended_s)
               for c in procedures)


def _undone(procedures: Sequence[Carried]) -> Iterator[Miss]:
    """What failed, and a start that another procedure or the end of the run found not released."""
    found = [c for c in procedures if c.outcome == "failed"
             or (c.outcome in UNFINISHED and c.name != "stop" and c.released_s is None)]
    if found:
        first = found[0]
        why = f": {first.why}" if first.why else ""
        ending = UNFINISHED.get(first.outcome, first.outcome)
        words = f"{first.name} at {first.begun_s:g} s {ending}{why}{_more(len(found))}"
        yield Miss("procedures", float(len(found)), 0.0, "", words)


def _too_hot(procedures: Sequence[Carried]) -> Iterator[Miss]:
    hot = [c for c in procedures if c.margin_percent is not None and c.margin_percent < 0.0]
    if hot:
        worst = min(hot, key=lambda c: c.margin_percent or 0.0)
        locked, allowed = float(worst.locked_s or 0.0), float(worst.allowed_s or 0.0)
        words = (f"{worst.name} at {worst.begun_s:g} s heats the rotor like {locked:.3g} s locked, "
                 f"its maker allows {allowed:.3g} s {'hot' if worst.hot else 'cold'}")
        yield Miss("locked_rotor_time", locked, allowed, "s", words)


def _more(count: int) -> str:
    return f", and {count - 1} more" if count > 1 else ""
