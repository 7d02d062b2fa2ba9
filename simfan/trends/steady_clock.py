"""Time that rises: daylight saving taken out, doubled rows dropped, a clock set back refused."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from simfan.trends import clock
from simfan.trends.complaints import FIRST, Complaints
from simfan.trends.times import Times

Array = np.ndarray
DIGITS = 6
"""Of a second; counted from 1970 a number of this kind holds no more."""


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
    same = _doubled(time, signals)
    if same.any():
        notes.append(f"{int(same.sum())} rows are there twice, word for word; each is taken once")
        time, lines = time[~same], lines[~same]
        signals = {name: values[~same] for name, values in signals.items()}
    _not_rising(time, lines, times, complaints)
    if len(time) < 2:
        complaints.add("rows", int(lines[0]), "one row", "two rows at least, at different times")
    time = time - time[0]
    return Timed(time if times.counted else np.round(time, DIGITS), signals, tuple(notes),
                 times.first)


def _even(raw: Array, times: Times) -> clock.Even:
    if not times.local:
        return clock.Even(raw)
    if times.reading.zone:
        return clock.in_zone(raw, times.reading.zone)
    steps = np.diff(raw)
    rising = steps[steps > 0.0]
    return clock.guessed(raw, float(np.median(rising))) if len(rising) else clock.Even(raw)


def _doubled(time: Array, signals: Mapping[str, Array]) -> Array:
    """Samples that repeat the one before them in time and in every value."""
    same = np.diff(time) == 0.0
    if not same.any():
        return np.zeros(len(time), dtype=bool)
    for values in signals.values():
        before, now = values[:-1], values[1:]
        same &= (before == now) | (np.isnan(before) & np.isnan(now))
    return np.concatenate([[False], same])


def _not_rising(time: Array, lines: Array, times: Times, complaints: Complaints) -> None:
    steps = np.diff(time)
    back = np.flatnonzero(steps < 0.0)
    for k in back[:FIRST]:
        complaints.add("back", int(lines[k + 1]), f"{_told(time[k + 1], times)} after "
                       f"{_told(time[k], times)}", "time that rises",
                       "a clock that was set back, or two files in one: part them there")
    if len(back) > FIRST:
        complaints.more("back", len(back) - FIRST)
    equal = np.flatnonzero(steps == 0.0)
    for k in equal[:FIRST]:
        complaints.add("equal", int(lines[k + 1]), f"{_told(time[k + 1], times)} twice, with other "
                       "values", "time that rises",
                       "export the time stamps with their fractions of a second")
    if len(equal) > FIRST:
        complaints.more("equal", len(equal) - FIRST)


def _told(seconds: float, times: Times) -> str:
    """A time as a person reads it."""
    if times.counted:
        return f"{seconds / float(times.reading.time_unit or 1.0):.9g}"
    moment = datetime.fromtimestamp(seconds, UTC)
    return f"{moment:%Y-%m-%d %H:%M:%S}" + (f".{moment.microsecond // 1000:03d}"
                                            if moment.microsecond else "")
