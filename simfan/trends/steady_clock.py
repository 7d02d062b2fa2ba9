"""Time that rises: daylight saving taken out, doubled rows dropped, a clock set back refused."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from simfan.trends import clock
from simfan.trends.complaints import FIRST, Complaints
from simfan.trends.room import beside, each, kept, median, parts, slices, steps
from simfan.trends.times import Times

Array = np.ndarray
DIGITS = 6
"""Of a second; counted from 1970 a number of this kind holds no more."""
BACK = "a clock that was set back, or two files in one: part them there"
EQUAL = "export the time stamps with their fractions of a second"


@dataclass(frozen=True)
class Timed:
    """Samples in rising time from zero."""

    time: Array
    signals: Mapping[str, Array]
    notes: tuple[str, ...]
    began: str


def timed(raw: Array, lines: Array, signals: Mapping[str, Array], times: Times,
          complaints: Complaints) -> Timed:
    """Seconds from the first sample; what does not rise is complained of by line."""
    even = _even(raw, times)
    time, notes = even.time, list(even.notes)
    same, doubled = _doubled(time, signals)
    if doubled:
        notes.append(f"{doubled} rows are there twice, word for word; each is taken once")
        time, lines = _without(same, time), _without(same, lines)
        signals = {name: _without(same, values) for name, values in signals.items()}
    _not_rising(time, lines, times, complaints)
    if len(time) < 2:
        complaints.add("rows", int(lines[0]), "one row", "two rows at least, at different times")
    zero = time[0]
    time = each(lambda raw: (raw - zero if times.counted else np.round(raw - zero, DIGITS)), time)
    return Timed(time, signals, tuple(notes), times.first)


def _even(raw: Array, times: Times) -> clock.Even:
    if not times.local:
        return clock.Even(raw)
    if times.reading.zone:
        return clock.in_zone(raw, times.reading.zone)
    usual = median(lambda: (step[step > 0.0] for step in steps(parts(raw))))
    return clock.guessed(raw, usual) if np.isfinite(usual) else clock.Even(raw)


def _doubled(time: Array, signals: Mapping[str, Array]) -> tuple[Array, int]:
    """(n,) samples that repeat the one before them in time and in every value, and how many."""
    if not any((step == 0.0).any() for step in steps(parts(time))):
        return np.broadcast_to(False, len(time)), 0
    same = kept(_repeats(time, signals, rows) for rows in slices(len(time)))
    return same, sum(int(np.count_nonzero(block)) for block in parts(same))


def _repeats(time: Array, signals: Mapping[str, Array], rows: slice) -> Array:
    """Of some rows, those that are as the row before."""
    wide = slice(max(rows.start - 1, 0), rows.stop)
    same = np.diff(time[wide]) == 0.0
    for values in signals.values():
        before, now = values[wide][:-1], values[wide][1:]
        same &= (before == now) | (np.isnan(before) & np.isnan(now))
    return same if rows.start else np.concatenate([[False], same])


def _without(same: Array, values: Array) -> Array:
    return kept(values[rows][~same[rows]] for rows in slices(len(values)))


def _not_rising(time: Array, lines: Array, times: Times, complaints: Complaints) -> None:
    for start, block in beside(time):
        step = np.diff(block)
        if not (step > 0.0).all():
            _complain(start + 1 + np.flatnonzero(step < 0.0), "back", time, lines, times,
                      complaints)
            _complain(start + 1 + np.flatnonzero(step == 0.0), "equal", time, lines, times,
                      complaints)


def _complain(rows: Array, kind: str, time: Array, lines: Array, times: Times,
              complaints: Complaints) -> None:
    """Of the first rows of a kind; the others are counted."""
    told = max(FIRST - complaints.counts.get(kind, 0), 0)
    for k in rows[:told]:
        line, now, before = int(lines[k]), _told(time[k], times), _told(time[k - 1], times)
        got, hint = (f"{now} after {before}", BACK) if kind == "back" else (
            f"{now} twice, with other values", EQUAL)
        complaints.add(kind, line, got, "time that rises", hint)
    if len(rows) > told:
        complaints.more(kind, len(rows) - told)


def _told(seconds: float, times: Times) -> str:
    """A time as a person reads it."""
    if times.counted:
        return f"{seconds / float(times.reading.time_unit or 1.0):.9g}"
    moment = datetime.fromtimestamp(seconds, UTC)
    return f"{moment:%Y-%m-%d %H:%M:%S}" + (f".{moment.microsecond // 1000:03d}"
                                            if moment.microsecond else "")
