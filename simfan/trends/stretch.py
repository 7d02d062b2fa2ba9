"""Stretches of a trend without a gap, as runs whose samples are made as they are judged."""

import heapq
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from hashlib import blake2b

import numpy as np

from simfan.history import Audit, Facts, Happening, History
from simfan.trends.room import kept, slices
from simfan.trends.trend import Array, Trend

MOST_STRETCHES = 300
"""A trend in more pieces is judged in its longest. Our choice; no source."""
Good = Callable[[slice], Array]
"""Rows of the trend → (n,) whether they are good."""


@dataclass(frozen=True)
class Span:
    """Rows of the trend from the first to the last good one."""

    first: int
    last: int
    count: int
    """Good ones."""


@dataclass(frozen=True)
class Spans:
    """Where a trend can be judged."""

    each: tuple[Span, ...]
    left_out: int
    """Shorter ones that are not judged."""
    good: bytes
    """A digest of which rows are good."""


def spans(trend: Trend, good: Good) -> Spans:
    """The stretches of good samples without a gap.

    A short spell of bad samples is bridged by a straight line; two samples make a stretch.
    """
    longest: list[tuple[int, int, Span]] = []
    many, digest = 0, blake2b(digest_size=16)
    for span in _all(trend, good, digest.update):
        many += 1
        add = heapq.heappush if len(longest) < MOST_STRETCHES else heapq.heappushpop
        add(longest, (span.count, -span.first, span))
    found = sorted((span for _, _, span in longest), key=lambda span: span.first)
    return Spans(tuple(found), many - len(found), digest.digest())


def _all(trend: Trend, good: Good, saw: Callable[[bytes], None]) -> Iterator[Span]:
    first, last, count = 0, 0, 0
    for rows in slices(len(trend.time)):
        inside = good(rows)
        saw(np.packbits(inside).tobytes())
        for piece in _pieces(trend, rows.start + np.flatnonzero(inside)):
            apart = trend.time[piece[0]] - trend.time[last] > trend.longest_interval_s
            if count and apart:
                yield from _long_enough(first, last, count)
            first, count = (int(piece[0]), 0) if apart or not count else (first, count)
            last, count = int(piece[-1]), count + len(piece)
    yield from _long_enough(first, last, count)


def _pieces(trend: Trend, rows: Array) -> list[Array]:
    """Rows of a block parted at the gaps."""
    cuts = np.flatnonzero(np.diff(trend.time[rows]) > trend.longest_interval_s) + 1
    return np.split(rows, cuts) if len(rows) else []


def _long_enough(first: int, last: int, count: int) -> Iterator[Span]:
    if count >= 2:
        yield Span(first, last, count)


@dataclass(frozen=True)
class Stretch:
    """A run of some rows of a trend."""

    trend: Trend
    good: Good
    span: Span
    made: Callable[[Array | slice], Mapping[str, Array]]
    """Rows of the trend → traces."""
    time: Array
    """(n_samples,) [s]."""
    items: Mapping[str, tuple[str, ...]]
    log: tuple[Happening, ...]
    facts: Facts
    audit: Audit

    def rows(self, part: slice) -> History:
        """Some of its samples."""
        rows = self._of_trend(part)
        return History(self.time[part], self.made(rows), self.items, self.log, self.facts,
                       self.audit)

    def trace(self, name: str, item: str | int = 0) -> Array:
        """One column of a trace, of all samples."""
        return kept(self.rows(part).trace(name, item) for part in slices(len(self.time)))

    def _of_trend(self, part: slice) -> Array | slice:
        first, end, _ = part.indices(len(self.time))
        if is_whole(self.span):
            return slice(self.span.first + first, self.span.first + end)
        begin, last = np.searchsorted(self.trend.time, self.time[[first, end - 1]])
        return begin + np.flatnonzero(self.good(slice(begin, last + 1)))


def is_whole(span: Span) -> bool:
    """Whether all rows between the ends are good."""
    return span.count == span.last - span.first + 1


def time_of(trend: Trend, good: Good, span: Span) -> Array:
    """(n,) of its good samples [s]."""
    time = trend.time[span.first:span.last + 1]
    if is_whole(span):
        return time
    return kept(time[rows][good(slice(span.first + rows.start, span.first + rows.stop))]
                for rows in slices(len(time)))
