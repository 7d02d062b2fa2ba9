"""Ways beside one tuning for the whole range, each judged as the one is: a gain schedule, and a
characteriser before the element."""

import numpy as np

from simfan.errors import RunError
from simfan.loop_answer import Characterised, LoopCurves, Schedule, Way
from simfan.loops.curves import Tuning, curves
from simfan.loops.margins import Controller
from simfan.loops.over_range import Loop
from simfan.loops.schedule import characterised, characteriser, gain_schedule
from simfan.plant.characteriser import Characteriser

WORTH = 1.5
"""Largest over smallest process gain from which on another way is looked for. Our choice."""
SCHEDULE, CHARACTERISER = "gain schedule", "characteriser"


def ways(loop: Loop, target: float, drawn: bool) -> tuple[tuple[Way, ...], tuple[str, ...]]:
    """(what was found, why something was not); nothing where the gain hardly changes."""
    gains = [abs(p.gain) for p in loop.processes if not p.unstable and p.gain]
    if not gains or max(gains) < WORTH * min(gains):
        return (), ()
    found, findings = [], []
    for make in (_schedule, _characteriser):
        try:
            found.append(make(loop, target, drawn))
        except RunError as why:
            findings.append(str(why))
    return tuple(found), tuple(findings)


def _schedule(loop: Loop, target: float, drawn: bool) -> Way:
    table = gain_schedule(loop, target=target)
    return Way(SCHEDULE, table.before, table.after, schedule=table,
               curves=_drawn(loop, _followed(loop, table)) if drawn else None)


def _followed(loop: Loop, table: Schedule) -> list[Controller]:
    """The tuning at each point."""
    variable = loop.held if table.on == "held" else loop.output
    gain, reset = (np.interp(variable, table.at, values) for values in (table.gain, table.reset))
    return [loop.pid(float(k), float(ti)) for k, ti in zip(gain, reset, strict=True)]


def _characteriser(loop: Loop, target: float, drawn: bool) -> Way:
    table = characteriser(loop, target=target)
    return Way(CHARACTERISER, table.before, table.after, characterised=table,
               curves=_with_table(loop, table) if drawn else None)


def _with_table(loop: Loop, table: Characterised) -> LoopCurves:
    case = characterised(loop.case, loop.name, Characteriser(output=table.output,
                                                             element=table.element))
    other = Loop(case, loop.name, float(loop.held.min()), float(loop.held.max()), loop.held.size)
    return _drawn(other, other.pid(table.gain, table.reset))


def _drawn(loop: Loop, tuning: Tuning) -> LoopCurves:
    return curves(loop, tuning, loop.margins(tuning))
