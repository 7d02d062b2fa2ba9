"""Local time made even: daylight saving recognised, a clock set back otherwise refused.

Where a zone is given every stamp is taken in it. Without one, a step back or forth by one hour at a
full hour, with the usual interval besides, is taken for daylight saving, and told.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

Array = np.ndarray
HOUR = 3600.0
HALF_HOUR = 1800.0
"""A zone's clock is changed at a whole or half hour."""


@dataclass(frozen=True)
class Even:
    """Time that runs without a jump, and what was done to it."""

    time: Array
    """(n_samples,) [s]."""
    notes: tuple[str, ...] = ()


def in_zone(local: Array, zone: str) -> Even:
    """Local seconds as universal ones, by the rules of a zone; of a repeated hour the second pass
    begins where the clock goes back."""
    place = ZoneInfo(zone)
    halves, where = np.unique(np.floor(local / HALF_HOUR), return_inverse=True)
    first, second = (np.array([_ahead(half * HALF_HOUR, place, fold) for half in halves])
                     for fold in (0, 1))
    twice = (first > second)[where]
    later = twice & (_backs_before(local, twice) > 0)
    time = local - np.where(later, second[where], first[where])
    changed = int(np.count_nonzero(np.diff(first[where]))) if len(local) > 1 else 0
    note = (f"the clock of {zone} is changed for daylight saving in this trend; time runs on "
            "through it",) if changed or later.any() else ()
    never = int(np.count_nonzero((first < second)[where]))
    doubt = (f"{never} of the time stamps are of an hour that the clock of {zone} leaves out: is "
             "the zone right?",) if never else ()
    return Even(time, (*note, *doubt))


def _ahead(seconds: float, place: ZoneInfo, fold: int) -> float:
    """How far the zone's clock is ahead of universal time [s]."""
    moment = datetime(1970, 1, 1, tzinfo=UTC).replace(tzinfo=None) + timedelta(seconds=seconds)
    ahead = moment.replace(tzinfo=place, fold=fold).utcoffset()
    return ahead.total_seconds() if ahead is not None else 0.0


def _backs_before(local: Array, twice: Array) -> Array:
    """How often the clock went back since the repeated hour began, at each sample."""
    backs = np.concatenate([[0], np.cumsum(np.diff(local) < 0.0)])
    begins = np.flatnonzero(twice & ~np.concatenate([[False], twice[:-1]]))
    since = np.zeros(len(local), dtype=int)
    if len(begins):
        block = np.searchsorted(begins, np.arange(len(local)), side="right") - 1
        since = np.where(block >= 0, backs[begins[np.maximum(block, 0)]], 0)
    return backs - since


def guessed(local: Array, interval: float) -> Even:
    """Local seconds with each jump of daylight saving taken out; others stay."""
    time, notes = local.copy(), []
    for k, jump in _jumps(local, interval):
        time[k:] += -jump
        what = ("an hour is missing" if jump > 0.0 else "an hour comes twice")
        notes.append(f"at {_clock(local[k - 1])} to {_clock(local[k])} {what}: taken for daylight "
                     "saving, time runs on (assumed; trend.zone would settle it)")
    return Even(time, tuple(notes))


def _jumps(local: Array, interval: float) -> Iterator[tuple[int, float]]:
    """(index after, jump) of every hour that looks like daylight saving, in the order of time."""
    last = 0.0
    for k, jump in sorted(_like_jumps(local, interval)):
        if jump != last:  # an hour that comes thrice is none
            yield k, jump
        last = jump


def _like_jumps(local: Array, interval: float) -> Iterator[tuple[int, float]]:
    steps = np.diff(local)
    for jump in (HOUR, -HOUR):
        close = np.abs(steps - jump - interval) <= max(0.5 * interval, 1e-6)
        for k in np.flatnonzero(close) + 1:
            edge = np.floor(local[k] / HOUR) * HOUR  # the first stamp of an hour
            if local[k] - edge < interval * 1.5 and local[k] - jump - local[k - 1] > 0.0:
                yield int(k), jump


def _clock(seconds: float) -> str:
    """Such as "02:59:59"."""
    whole = int(seconds % 86400.0)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
