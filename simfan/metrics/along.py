"""Distances from the limits as a run goes: from pieces of its samples, in order, each forgotten.

The same numbers as `distance.distances` gives for the whole history, to the last bit, in memory
that does not grow with the length of the run:

    always g(t) ≥ 0             the least of all pieces
    settles after T             the least of the samples from T on, and of the line across T
    seconds, cycles             folds of `measures`, which go on from their state
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, inf
from typing import Any, Protocol

import numpy as np

from simfan.history import Facts, History, SetpointChange
from simfan.measures import surge as surge_fold
from simfan.measures import tracking as tracking_fold
from simfan.metrics import distance, surge
from simfan.metrics.columns import Array, clock, column
from simfan.metrics.distance import NOTHING_TO_JUDGE
from simfan.metrics.tracking import STAY_SHARE, Scale, arrival, judged_step, scaled
from simfan.plant.case import Criteria


class Requirement(Protocol):
    """One requirement along a run."""

    def take(self, piece: History) -> None:
        """The next samples."""

    def distance(self) -> float:
        """As far as seen."""


class Along:
    """All requirements of a scenario's criteria along one run."""

    def __init__(self, facts: Facts, criteria: Criteria, wanted: Array, samples: int) -> None:
        """Of a run with so many samples in all, `wanted` (n,) the setpoints on its way."""
        blank = History(np.zeros(0), {}, {}, (), facts, None)  # type: ignore[arg-type]
        scale = scaled(blank, wanted, criteria.band)
        windows = [w for c in facts.changes if (w := _window(c, scale, facts, samples))]
        made: dict[str, Callable[[float], Requirement]] = {
            "time_outside_band": lambda limit: _Outside(limit, scale),
            "overshoot": lambda limit: _Overshoot(limit, criteria.band, windows),
            "settling_time": lambda limit: _Settling(limit, criteria.band, windows),
            "surge_cycles": lambda limit: _Surge(limit, criteria.surge_swing),
        }
        asked = distance.requirements(criteria, facts.max_safe_speed_ratio)
        limits = [(r.name, distance.as_si(r)) for r in asked]
        self._all = [made[name](limit) if name in made else _Always(name, criteria, limit)
                     for name, limit in limits]

    def take(self, piece: History) -> None:
        """The next samples."""
        for one in self._all:
            one.take(piece)

    def distances(self) -> Array:
        """(m,) as `distance.distances`, once the run is complete."""
        return np.array([one.distance() for one in self._all])


class _Always:
    """What is the least over the run."""

    def __init__(self, name: str, criteria: Criteria, limit: float) -> None:
        self.name, self.criteria, self.limit = name, criteria, limit
        self.least = inf

    def take(self, piece: History) -> None:
        if self.name != "stall_margin" or distance.over_stall(piece) is not None:
            found = distance.DISTANCE[self.name](piece, self.criteria, self.limit)
            self.least = min(self.least, found)

    def distance(self) -> float:
        return self.least if self.least < inf else NOTHING_TO_JUDGE


class _Outside:
    """Time outside the band."""

    def __init__(self, limit: float, scale: Scale) -> None:
        self.limit, self.scale = limit, scale
        self.state: Any = None
        self.before = 0.0

    def take(self, piece: History) -> None:
        time = clock(piece)
        if self.state is None:
            numbers = map(float, (time[0], self.scale.of_setpoint, self.scale.fixed))
            self.state = tracking_fold.start(tracking_fold.Params(*numbers))
            self.before = time[0]
        self.state = tracking_fold.over(self.state, self.before, time, column(piece, "setpoint"),
                                        column(piece, "true_value"))
        self.before = time[-1]

    def distance(self) -> float:
        outside = float(tracking_fold.result(self.state).outside)
        return (self.limit - outside) / distance.size(self.limit)


@dataclass(frozen=True)
class _Window:
    """The samples by which a change is judged."""

    change: SetpointChange
    way: float
    """What makes a deviation a share of the judged step."""
    first: float
    last: float
    """Times of its samples [s]."""

    def beyond(self, piece: History) -> tuple[Array, Array]:
        """(time, how far beyond the end of the change) of the samples of a piece that belong to
        it."""
        time = clock(piece)
        part = slice(np.searchsorted(time, self.first, "left"),
                     np.searchsorted(time, self.last, "right"))
        return time[part], (column(piece, "true_value")[part] - self.change.end) * self.way


def _window(change: SetpointChange, scale: Scale, facts: Facts, samples: int) -> _Window | None:
    """None where the change cannot be judged."""
    half = 0.5 * facts.record_s
    first = _sample(change.at_s - half, facts.record_s)
    last = samples
    if change.until_s < facts.duration_s:
        last = min(_sample(change.until_s - half, facts.record_s), samples)
    if change.start == change.end or last - first < 2:
        return None
    way = np.sign(change.end - change.start) / judged_step(change, scale)
    return _Window(change, way, first * facts.record_s, (last - 1) * facts.record_s)


def _sample(since: float, interval: float) -> int:
    """The first at that time or after it."""
    return max(0, ceil(since / interval))


class _Overshoot:
    """The furthest beyond its end, of all changes."""

    def __init__(self, limit: float, band: float, windows: list[_Window]) -> None:
        self.limit, self.band, self.windows = limit, band, windows
        self.furthest = [-inf] * len(windows)

    def take(self, piece: History) -> None:
        for k, window in enumerate(self.windows):
            _, beyond = window.beyond(piece)
            self.furthest[k] = float(np.max(beyond, initial=self.furthest[k]))

    def distance(self) -> float:
        room = [self.limit - furthest for furthest in self.furthest]
        return min(room) / max(self.limit, self.band) if room else NOTHING_TO_JUDGE


class _Settling:
    """The least room in the band from when a change must have settled."""

    def __init__(self, limit: float, band: float, windows: list[_Window]) -> None:
        self.band, self.windows = band, windows
        self.since = [min(arrival(w.change) + limit, w.last - STAY_SHARE * (w.last - w.first))
                      for w in windows]
        self.least = [inf] * len(windows)
        self.before = [(np.zeros(0), np.zeros(0))] * len(windows)

    def take(self, piece: History) -> None:
        for k, window in enumerate(self.windows):
            time, beyond = window.beyond(piece)
            if time.size:
                self._go_on(k, time, 1.0 - np.abs(beyond) / self.band)

    def _go_on(self, k: int, time: Array, room: Array) -> None:
        """With the sample before these, for the line across the time it must have settled by."""
        time, room = (np.concatenate(pair) for pair in zip(self.before[k], (time, room),
                                                           strict=True))
        if time[-1] >= self.since[k]:
            self.least[k] = min(self.least[k],
                                distance.settles(time, room, max(self.since[k], time[0])))
        self.before[k] = time[-1:], room[-1:]

    def distance(self) -> float:
        return min(self.least, default=NOTHING_TO_JUDGE)


class _Surge:
    """Cycles of every fan; with none, how far right of the stall line it stayed."""

    def __init__(self, limit: float, swing: float) -> None:
        self.limit, self.swing = limit, swing
        self.states: list[Any] = []
        self.flow: float | None = None
        self.before, self.least = 0.0, inf

    def take(self, piece: History) -> None:
        """The first piece tells the flow at stall, where the sheet does not."""
        time, ratio = clock(piece), distance.over_stall(piece)
        if ratio is not None:
            self.least = min(self.least, distance.always(ratio))
        if not self.states:
            self.flow, self.before = surge.stall_flow(piece), time[0]
            params = _surge_params(piece, self.swing * (self.flow or inf))
            self.states = [surge_fold.start(params) for _ in piece.items["fan"]]
        for fan, state in enumerate(self.states):
            columns = [column(piece, name, fan)
                       for name in ("fan_flow", "stall_flow", "fan_pressure")]
            self.states[fan] = surge_fold.over(state, self.before, time, *columns)
        self.before = time[-1]

    def distance(self) -> float:
        if self.flow is None or self.least == inf:
            return NOTHING_TO_JUDGE
        cycles = max(int(surge_fold.result(state).cycles) for state in self.states)
        return distance.to_surge(cycles, self.limit, self.least)


def _surge_params(piece: History, swing: float) -> surge_fold.Params:
    longest = surge.longest_cycle(piece)
    memory = ceil(longest / piece.facts.record_s) + 2
    return surge_fold.Params(float(swing), longest, max(surge.MERGE_GAP_S, longest), memory,
                             surge.ROOM)
