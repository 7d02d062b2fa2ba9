"""What a loop will do wrong that its margins do not tell: limit cycles, a slow scan."""

from dataclasses import replace
from math import pi

import numpy as np

from simfan.assemble.transmitter import span
from simfan.experiment_answer import LimitCycle
from simfan.loops import describing, limit_cycle
from simfan.loops.margins import Controller
from simfan.loops.over_range import Loop
from simfan.units import show

SLOW_SCAN = 0.25
"""Of lag + dead time, the least over the points, that a scan may take. Common practice, no source:
four to ten scans."""
STICKS = ("a resolution", "no gain cures it: a better positioner does, or a reset taken from the "
          "measured position, which then stands off the setpoint by up to a step")
PLAYS = ("a play", "less gain or a longer reset does away with it")
"""What makes it swing, and what to do."""


def limit_cycles(loop: Loop, tuning: Controller, share: float = 0.5) -> tuple[LimitCycle, ...]:
    """Of every stable point of a loop and every element that has stick or play and follows the
    output there: whether a swing keeps itself up, and which.

    `share` is that of the period in which an element that sticks stands up [1]. None are sought
    for a controller that sets an inner loop's setpoint and moves no element itself.
    """
    if loop.assembled.plant.loops.inner[0] >= 0:
        return ()
    each = loop.assembled.plant.actuators.each
    return tuple(_at(loop, tuning, k, a, share) for k in range(len(loop.linear))
                 for a in range(each.size)
                 if (each.stick[a] > 0.0 or each.backlash[a] > 0.0)
                 and loop.linear[k].share[a] != 0.0 and not loop.unstable[k])


def _at(loop: Loop, tuning: Controller, k: int, a: int, share: float) -> LimitCycle:
    """One point and one element."""
    each, lin, top = loop.assembled.plant.actuators.each, loop.linear[k], pi / loop.scan
    stick, backlash = float(each.stick[a]), float(each.backlash[a])
    by_position = loop.reset_from_position and a == loop.assembled.plant.loops.actuator[0]
    seen, width = limit_cycle.seen_from(lin, a, tuning, by_position), span(loop.case)[1]
    told = LimitCycle(loop.name, loop.assembled.elements[a].name, float(loop.held[k]), stick,
                      backlash)
    by_sine = next(iter(describing.cycles(seen, top, stick, backlash)), None)
    if by_sine:
        way = abs(limit_cycle.by_position(lin, a, np.array([by_sine.omega]))[0])
        told = replace(told, sine_period=2.0 * pi / by_sine.omega,
                       sine_swing=float(width * by_sine.travel * way))
    found = limit_cycle.square(seen, top, stick, backlash, share) if stick else None
    if found:
        return replace(told, swings=True, period=2.0 * pi / found.omega, travel=stick,
                       swing=width * limit_cycle.swing(found, lin, a, stick))
    if by_sine:
        return replace(told, swings=True, period=told.sine_period, swing=told.sine_swing,
                       travel=by_sine.travel)
    return told


def warnings_for(loop: Loop, tuning: Controller) -> list[str]:
    """What goes wrong with this tuning somewhere in the range though its margins are good, in
    sentences; nothing where nothing does."""
    return [*_swings(loop, tuning), *_slow_scan(loop)]


def _swings(loop: Loop, tuning: Controller) -> list[str]:
    """The widest limit cycle of each element."""
    said, kind = [], loop.case.control.held_kind
    found = [c for c in limit_cycles(loop, tuning) if c.swings]
    for name in dict.fromkeys(c.element for c in found):
        worst = max((c for c in found if c.element == name), key=lambda c: c.swing or 0.0)
        assert worst.swing is not None and worst.period is not None
        cause, cure = STICKS if worst.resolution else PLAYS
        percent = 100.0 * (worst.resolution or worst.backlash)
        said.append(f"{name}: {cause} of {percent:.3g} % makes this loop swing on and on, foretold "
                    f"up to {show(worst.swing, kind)} from peak to peak in {worst.period:.3g} s or "
                    f"longer, widest at {show(worst.held, kind)}; {cure}")
    return said


def _slow_scan(loop: Loop) -> list[str]:
    """Where a scan takes much of the quickest point's lag and dead time."""
    some = [p for p in loop.processes if not p.unstable]
    if not some:
        return []
    quickest = min(some, key=lambda p: p.lag + p.dead_time)
    whole = quickest.lag + quickest.dead_time
    if loop.scan <= SLOW_SCAN * whole:
        return []
    return [f"a scan of {loop.scan:.3g} s is {100.0 * loop.scan / whole:.0f} % of this loop's lag "
            f"and dead time, {whole:.3g} s at {show(quickest.held, loop.case.control.held_kind)}: "
            "it limits what any tuning can do (common practice, no source: a quarter at most)"]
