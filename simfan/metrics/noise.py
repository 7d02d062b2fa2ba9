"""Which setpoint changes the transmitter's noise judges in place of the loop.

The controller answers the noise and so moves the true value; no settling band can be narrower than
what that alone does at rest. A change that misses is not decidable where all of this holds:

    the same run without noise settles in time and does not overshoot too far
    4·σ > half width of the band, σ of (true value with noise − without), once it has arrived
    σ ≤ noise of one reading: a sound loop passes on less than it reads; what is more is a swing
    of its own, such as a limit cycle that noise only sets off

Source of the three: none, our choice. Noise of a reading behind a square root: Δq = Δx·span/(2·x)
at the share x of the span, the slope of √.
"""

from collections.abc import Mapping
from dataclasses import replace
from math import sqrt
from typing import Any

import numpy as np

from simfan.history import Facts, History
from simfan.metrics.columns import Array, computed
from simfan.metrics.in_operation import in_operation
from simfan.metrics.results import Change, Tracking
from simfan.metrics.tracking import tracking
from simfan.plant.case import Criteria
from simfan.signals import HELD_UNITS

TIMES = 4.0
"""Scatter that a band must exceed so many times; of normal noise one sample in 16 000 lies beyond.
Our choice; no source."""
ANSWER = ("overshoot_percent", "undershoot_percent", "rise_time_s", "settling_time_s")
"""What cannot be told of a change that noise hides."""


def of_the_loop(found: Tracking, history: History, criteria: Criteria) -> Tracking:
    """The tracking of a run, without an answer where its noise decides and not the loop.

    Only where something is missed the run is made again without noise.
    """
    missed = [c for c in found.changes if _misses(c, criteria)]
    if not missed or history.without_noise is None:
        return found
    scatters = decided_by_noise(found, history, history.without_noise(), criteria)
    if not scatters:
        return found
    changes = tuple(_unanswered(c, scatters[k]) if k in scatters else c
                    for k, c in enumerate(found.changes))
    return replace(found, changes=changes, noise=_told(changes, scatters, criteria))


def decided_by_noise(found: Tracking, history: History, quiet: History, criteria: Criteria
                     ) -> dict[int, float]:
    """Place of each change that noise decides → scatter of the true value [held unit]; `quiet` is
    the same run without noise. A procedure may release the loop a little later in the one."""
    if quiet.audit.stopped or len(quiet.time) != len(history.time):
        return {}
    calm = tracking(in_operation(computed(quiet), criteria), criteria.band).changes
    if [c.end for c in calm] != [c.end for c in found.changes]:
        return {}
    scatters = {}
    for k, (change, other) in enumerate(zip(found.changes, calm, strict=True)):
        if not _misses(change, criteria) or _misses(other, criteria):
            continue
        sigma = _scatter(change, history, quiet)
        if band(change) < TIMES * sigma and sigma <= reading_noise(history.facts, change.end):
            scatters[k] = sigma
    return scatters


def band(change: Change) -> float:
    """Half width of the settling band [SI]."""
    return 0.01 * change.settling_band_percent * change.judged_step


def least_move(sigma: float, criteria: Criteria) -> float:
    """4·σ/band [held unit]: the smallest move whose settling band this scatter does not fill."""
    return TIMES * sigma / criteria.band


def reading_noise(facts: Facts, value: float) -> float:
    """Standard deviation of one reading of this value [held unit]; below √noise of a square root's
    span its slope is taken there."""
    low, high = (facts.tuning.get(name) for name in ("span_low", "span_high"))
    if not (isinstance(low, float) and isinstance(high, float)):
        return 0.0
    slope = 1.0
    if facts.square_root and facts.noise:
        slope = 0.5 / max((value - low) / (high - low), sqrt(facts.noise))
    return slope * facts.noise * (high - low)


def unanswered(change: Change, why: str) -> Change:
    """The change without what cannot be told of it, and why."""
    none: dict[str, Any] = dict.fromkeys(ANSWER)
    reasons: Mapping[str, str] = dict.fromkeys(ANSWER, why)
    return replace(change, **none, reasons={**change.reasons, **reasons})


def _misses(change: Change, criteria: Criteria) -> bool:
    """Whether a change that was judged never settles, or goes beyond a limit."""
    if change.overshoot_percent is None:
        return False
    late, over = criteria.settling_time, criteria.overshoot
    return (change.settling_time_s is None
            or (late is not None and change.settling_time_s > late)
            or (over is not None and change.overshoot_percent > 100.0 * over))


def _scatter(change: Change, history: History, quiet: History) -> float:
    """Standard deviation of what the noise does in the second half of what follows the arrival."""
    since = 0.5 * (change.at_s + change.over_s + change.until_s)
    part = (history.time >= since) & (history.time < change.until_s)
    moved: Array = (history.trace("true_value") - quiet.trace("true_value"))[part]
    return float(np.std(moved)) if moved.size else 0.0


def _unanswered(change: Change, sigma: float) -> Change:
    unit = HELD_UNITS[change.held_kind]
    return unanswered(change, (
        f"the transmitter's noise moves the value by {sigma:.3g} {unit} (standard deviation) and "
        f"the settling band is ±{band(change):.3g} {unit}: overshoot and settling would be of the "
        "noise, not of the loop, which settles without it"))


def _told(changes: tuple[Change, ...], scatters: Mapping[int, float], criteria: Criteria) -> str:
    sigma, unit = max(scatters.values()), HELD_UNITS[changes[0].held_kind]
    return (f"not judged: overshoot and settling of {len(scatters)} of {len(changes)} setpoint "
            f"changes, which the transmitter's noise decides: it moves the value by {sigma:.2g} "
            f"{unit} (standard deviation), and the band of a move below "
            f"{least_move(sigma, criteria):.2g} {unit} is no wider than {TIMES:g} times that")
