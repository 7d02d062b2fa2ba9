"""How two loops get on with one another: relative gains, shared crossovers, the larger of both."""

from math import pi

import numpy as np

from simfan.loop_answer import Pairing
from simfan.loops.beside import MID_RANGING, TWO_LOOPS, Beside
from simfan.loops.margins import Controller, around_each
from simfan.loops.over_range import Loop
from simfan.steady.bench import Array

APART = 3.0
"""Crossover frequencies of two loops at least so far apart do not disturb one another much. Common
practice, no source: three to five."""
FREQUENCIES = 800


def pairing(loop: Loop, tuning: Controller) -> Pairing | None:
    """How the first loop with this tuning gets on with the one beside it; None where there is
    none, or where an inner loop stands below."""
    if loop.beside is None or loop.beside.kind not in (TWO_LOOPS, MID_RANGING):
        return None
    good = loop.unstable == 0
    if not good.any():
        return None
    both = _crossovers(loop, loop.beside, tuning, good)
    if loop.beside.kind == MID_RANGING:
        return Pairing((), None, *both, said=tuple(_close(*both)))
    gains = loop.beside.relative_gains()
    omega = np.geomspace(1e-5, 1.0, FREQUENCIES) * pi / loop.scan
    largest = float(loop.beside.largest_singular_value(tuning, omega)[good].max())
    return Pairing(tuple(gains.tolist()), largest, *both,
                   said=(*_recommended(gains[good]), *_close(*both)))


def _crossovers(loop: Loop, beside: Beside, tuning: Controller, good: Array
                ) -> tuple[float | None, float | None]:
    """Highest crossover of the first and of the other loop [rad/s]."""
    first = [m.crossover for m, g in zip(loop.margins(tuning), good, strict=True) if g]
    if beside.kind == MID_RANGING:
        slow = abs(beside.other.gain) * np.array([
            abs(s.gain / f.gain) for s, f in zip(
                beside.paths[0, 1].plants, beside.paths[0, 0].plants, strict=True)])
        other = (slow / beside.other.reset)[good].tolist()
    else:
        found = around_each(beside.alone, pi / loop.scan, loop.unstable + 0.5)
        other = [m.crossover for m, g in zip(found, good, strict=True) if g]
    return _highest(first), _highest(other)


def _highest(values: list[float | None]) -> float | None:
    return max((v for v in values if v is not None), default=None)


def _recommended(gains: Array) -> list[str]:
    low, high = float(gains.min()), float(gains.max())
    told = f"relative gain of this pairing {low:.2f} to {high:.2f} over the range"
    if low > 0.5:
        strong = "" if low > 2.0 / 3.0 and high < 1.5 else ", though the loops disturb one another"
        return [f"{told}: it is the pairing to take{strong} (Bristol 1966)"]
    if high < 0.5:
        return [f"{told}: take the other pairing, let each loop move the other's element "
                "(Bristol 1966)"]
    return [f"{told}: neither pairing is good over the whole range; keep one of the loops slow, or "
            "in manual where the sign would change (Bristol 1966)"]


def _close(first: float | None, other: float | None) -> list[str]:
    if not first or not other or max(first, other) / min(first, other) >= APART:
        return []
    return [f"the two loops cross over close to one another, at {first:.3g} and {other:.3g} rad/s: "
            f"each disturbs the other; make one of them {APART:g} to 5 times slower (common "
            "practice, no source)"]
