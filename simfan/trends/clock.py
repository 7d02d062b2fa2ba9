"""Local time made even: daylight saving recognised, a clock set back otherwise refused.

Where a zone is given every stamp is taken in it. Without one, a step back or forth by one hour at a
full hour, with the usual interval besides, is taken for daylight saving, and told.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from simfan.trends.room import beside, kept, parts, slices

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
    halves = np.unique(np.concatenate([np.unique(_half(block)) for block in parts(local)]))
    first, second = (np.array([_ahead(half * HALF_HOUR, place, fold) for half in halves])
                     for fold in (0, 1))
    zoned = _Zoned(halves, first, second)
    time = kept(zoned.universal(block) for block in parts(local))
    note = (f"the clock of {zone} is changed for daylight saving in this trend; time runs on "
            "through it",) if zoned.changes else ()
    doubt = (f"{zoned.never} of the time stamps are of an hour that the clock of {zone} leaves "
             "out: is the zone right?",) if zoned.never else ()
    return Even(time, (*note, *doubt))


def _half(local: Array) -> Array:
    return np.floor(local / HALF_HOUR)


@dataclass
class _Zoned:
    """Takes local seconds block by block."""

    halves: Array
    """Half hours of the trend, rising."""
    first: Array
    """How far the clock is ahead in each [s]."""
    second: Array
    """The same in the second pass of a repeated hour [s]."""
    never: int = 0
    """Samples of an hour that the clock leaves out."""
    changes: bool = False
    """Whether the clock is changed."""
    backs: int = 0
    """How often the clock went back so far."""
    since: int = 0
    """The same when the repeated hour began."""
    was_twice: bool = False
    before: Array = field(default_factory=lambda: np.empty(0))
    """Last local second and how far ahead it was, once there is one."""

    def universal(self, local: Array) -> Array:
        """The next block in universal seconds."""
        where = np.searchsorted(self.halves, _half(local))
        ahead, later_ahead = self.first[where], self.second[where]
        twice = ahead > later_ahead
        later = twice & (self._backs_before(local, twice) > 0)
        self.never += int(np.count_nonzero(ahead < later_ahead))
        moved = bool(self.before.size) and ahead[0] != self.before[1]
        self.changes |= moved or bool(later.any()) or bool((np.diff(ahead) != 0.0).any())
        self.before = np.array([local[-1], ahead[-1]])
        return local - np.where(later, later_ahead, ahead)

    def _backs_before(self, local: Array, twice: Array) -> Array:
        """How often the clock went back since the repeated hour began, at each sample."""
        back = np.diff(local, prepend=self.before[0] if self.before.size else local[0]) < 0.0
        backs = self.backs + np.cumsum(back)
        begins = twice & ~np.concatenate([[self.was_twice], twice[:-1]])
        last = np.maximum.accumulate(np.where(begins, np.arange(len(local)), -1))
        since = np.where(last >= 0, backs[np.maximum(last, 0)], self.since)
        self.backs, self.since, self.was_twice = int(backs[-1]), int(since[-1]), bool(twice[-1])
        return backs - since


def _ahead(seconds: float, place: ZoneInfo, fold: int) -> float:
    """How far the zone's clock is ahead of universal time [s]."""
    moment = datetime(1970, 1, 1, tzinfo=UTC).replace(tzinfo=None) + timedelta(seconds=seconds)
    ahead = moment.replace(tzinfo=place, fold=fold).utcoffset()
    return ahead.total_seconds() if ahead is not None else 0.0


def guessed(local: Array, interval: float) -> Even:
    """Local seconds with each jump of daylight saving taken out; others stay."""
    jumps, notes = list(_jumps(local, interval)), []
    for k, jump in jumps:
        what = ("an hour is missing" if jump > 0.0 else "an hour comes twice")
        notes.append(f"at {_clock(local[k - 1])} to {_clock(local[k])} {what}: taken for daylight "
                     "saving, time runs on (assumed; trend.zone would settle it)")
    if not jumps:
        return Even(local)
    return Even(kept(_without(jumps, local[rows].copy(), rows.start)
                     for rows in slices(len(local))), tuple(notes))


def _without(jumps: Sequence[tuple[int, float]], block: Array, start: int) -> Array:
    """Rows from `start` on, with every jump before them taken out."""
    for k, jump in jumps:
        block[max(k - start, 0):] += -jump
    return block


def _jumps(local: Array, interval: float) -> Iterator[tuple[int, float]]:
    """(index after, jump) of every hour that looks like daylight saving, in the order of time."""
    last = 0.0
    for k, jump in sorted(_like_jumps(local, interval)):
        if jump != last:  # an hour that comes thrice is none
            yield k, jump
        last = jump


def _like_jumps(local: Array, interval: float) -> Iterator[tuple[int, float]]:
    for start, block in beside(local):
        steps = np.diff(block)
        for jump in (HOUR, -HOUR):
            close = np.abs(steps - jump - interval) <= max(0.5 * interval, 1e-6)
            for k in start + 1 + np.flatnonzero(close):
                edge = np.floor(local[k] / HOUR) * HOUR  # the first stamp of an hour
                if local[k] - edge < interval * 1.5 and local[k] - jump - local[k - 1] > 0.0:
                    yield int(k), jump


def _clock(seconds: float) -> str:
    """Such as "02:59:59"."""
    whole = int(seconds % 86400.0)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"
