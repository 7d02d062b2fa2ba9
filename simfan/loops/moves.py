"""How far and how long the output is moved in a test."""

from math import ceil

import numpy as np
from scipy.linalg import block_diag, expm

from simfan.errors import RunError
from simfan.loops.linear import Linear
from simfan.loops.rig import Rig

USUAL = 0.03
"""Move of the output unless told. Common practice, no source: 2 to 5 %."""
MOST = 0.10
"""Largest move that is chosen by itself."""
OVER_NOISE = 10.0
"""The reading's answer over the noise's standard deviation, where the move is chosen."""
OVER_LOST = 5.0
"""The move over what play and stick may swallow. Common practice, no source."""
SETTLING = 5.0
"""Each output is held for so many times lag + dead time at the least."""
MISSING = 0.005
"""Share of its change that the reading may still lack at the end of a hold."""
LEAST_SCANS = 12
LONGEST = 600.0
"""Nothing slower is waited for [s]."""
MOMENTS = 2400
RAMPING = 0.3
"""Time that an element's rate limit takes for the move, of lag + dead time, that is told."""


def hold_time(stand: Rig, move: float) -> float:
    """How long each output is held, in whole scans [s]: until the slowest element has moved and
    the reading has come to rest."""
    scan, p = stand.case.control.scan, stand.process
    rest = max(SETTLING * (p.lag + p.dead_time), settling(stand.linear))
    return max(ceil((max(_times(stand, move)) + rest) / scan), LEAST_SCANS) * scan


def settling(lin: Linear) -> float:
    """When the reading's answer to a step of the output lacks no more than MISSING, elements' rates
    left out [s].

    [x; p]' = [[A, B], [0, −1/τ]]·[x; p] + [0; share/τ]·u, elements without lag given a short one.
    """
    lag = np.maximum(lin.lag, 1e-3)
    n = lin.a.shape[0]
    a = block_diag(lin.a, np.diag(-1.0 / lag))
    a[:n, n:] = lin.b
    rest = -np.linalg.solve(a, np.append(np.zeros(n), lin.share / lag))
    sees = np.append(lin.c, lin.d)
    step, late = expm(a * LONGEST / MOMENTS), float(lin.dead_time.max() + lin.reading_dead_time)
    away, last = -rest, 0
    for k in range(1, MOMENTS + 1):
        away = step @ away
        if abs(sees @ away) > MISSING * abs(sees @ rest):
            last = k
    return (last + 1) * LONGEST / MOMENTS + late


def chosen_size(stand: Rig, wanted: float | None) -> tuple[float, tuple[str, ...]]:
    """The move [1], enough for noise, play and stick unless told, and what is to be said of it.

    Raises RunError where it leaves the output's limits or moves nothing.
    """
    low, high = stand.ends
    room, lost = min(high - stand.output, stand.output - low), _lost(stand)
    if wanted is None:
        noise = stand.case.control.transmitter.noise
        enough = max(USUAL, OVER_LOST * lost, OVER_NOISE * noise / abs(stand.process.gain))
        wanted = min(enough, MOST, room)
    if not 0.0 < wanted <= room + 1e-12:
        raise RunError(f"a move of ±{100.0 * wanted:.3g} % about {100.0 * stand.output:.4g} % "
                       f"leaves the output's limits of {100.0 * low:.4g} to {100.0 * high:.4g} %; "
                       f"there is room for {100.0 * room:.3g} %")
    if wanted <= _first_lost(stand):
        raise RunError(f"a move of ±{100.0 * wanted:.3g} % of output is swallowed by the play and "
                       f"stick of the elements, up to {100.0 * lost:.3g} %: nothing would move; "
                       f"--size {100.0 * min(OVER_LOST * lost, room):.2g}% shows more")
    return wanted, (*_said_of_loss(wanted, lost), *_said_of_elements(stand, wanted))


def _said_of_loss(move: float, lost: float) -> list[str]:
    if move >= OVER_LOST * lost * (1.0 - 1e-9):
        return []
    return [f"play and stick take up to {100.0 * lost:.3g} % of output out of each turn of the "
            f"{100.0 * move:.3g} % move; it should be {OVER_LOST:g} times as large (common "
            "practice, no source)"]


def _said_of_elements(stand: Rig, move: float) -> list[str]:
    """Where a corner of a sequence, an end or a rate limit spoils the test."""
    down, rest, up = _stands(stand, move)
    said, times = [], _times(stand, move)
    for a, element in enumerate(stand.assembled.elements):
        fall, rise = float(rest[a] - down[a]), float(up[a] - rest[a])
        if abs(rise - fall) > 0.02 * max(abs(rise), abs(fall), 1e-6):
            said.append(f"{element.name}: told to move by {100.0 * rise:+.3g} % up and "
                        f"{-100.0 * fall:+.3g} % down: its sequence turns a corner or ends within "
                        "the move, so the gain is a mean of two; take a smaller move")
        if times[a] > RAMPING * (stand.process.lag + stand.process.dead_time):
            said.append(f"{element.name}: its rate limit takes {times[a]:.3g} s for the move, "
                        "which the models show as lag and dead time that small moves do not have")
    return said


def _stands(stand: Rig, move: float) -> list[np.ndarray]:
    """(n_elements,) each, with the output down, at rest, up."""
    return [stand.positions(stand.output + side * move) for side in (-1.0, 0.0, 1.0)]


def _times(stand: Rig, move: float) -> np.ndarray:
    """(n_elements,) for the move at the rate limit [s]."""
    each = stand.assembled.plant.actuators.each
    down, rest, up = _stands(stand, move)
    return np.asarray(np.maximum(np.abs(up - rest), np.abs(down - rest))
                      / np.minimum(each.rate_up, each.rate_down))


def _lost(stand: Rig) -> float:
    """Most output lost at a turn: (b + r)/share of the element that loses most [1]."""
    each, share = stand.assembled.plant.actuators.each, np.abs(stand.linear.share)
    moves = share > 0.0
    return float(((each.backlash + each.stick)[moves] / share[moves]).max(initial=0.0))


def _first_lost(stand: Rig) -> float:
    """Output below which no element stirs from the middle of its play [1]."""
    each, share = stand.assembled.plant.actuators.each, np.abs(stand.linear.share)
    moves = share > 0.0
    return float(((0.5 * each.backlash + each.stick)[moves] / share[moves]).min(initial=np.inf))
