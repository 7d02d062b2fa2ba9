"""What is marked in the pictures of a run: numbered events, spans out of bounds, points held."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from simfan import units
from simfan.history import History, SetpointChange
from simfan.report.wording import reworded

RESTS_OVER_S = 5.0
"""A point is marked where flow and pressure kept about still this long before the next event."""
RESTS_WITHIN = 0.02
"""How still: within this share of the rated curve's largest flow and pressure."""


@dataclass(frozen=True)
class Event:
    """A numbered instant of the timeline."""

    mark: str
    at_s: float
    words: str


@dataclass(frozen=True)
class Span:
    """A stretch of time out of bounds."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class Point:
    """Where the fan stood before the next event; `mark` is the event before. SI."""

    mark: str
    flow: float
    pressure: float
    speed_ratio: float


def letter(k: int) -> str:
    """Of the excursion with this number from 0: a to z, then aa, ab and on."""
    first, last = divmod(k, 26)
    return (letter(first - 1) if first else "") + chr(ord("a") + last)


def events(run: History, system: units.System) -> tuple[Event, ...]:
    """The timeline's events in order, numbered from 1."""
    changes = {change.at_s: change for change in run.facts.changes}
    found = []
    for number, at in enumerate(sorted(set(run.facts.events_at_s)), start=1):
        words = (
            _change_words(changes[at], run.facts.held_kind, system) if at in changes
            else _logged(run, at, system)
        )  # fmt: skip
        found.append(Event(str(number), at, words))
    return tuple(found)


def _change_words(change: SetpointChange, kind: str, system: units.System) -> str:
    start = units.show(change.start, kind, system, digits=4).split()[0]
    slowly = f" over {change.over_s:g} s" if change.over_s else ""
    return f"setpoint {start} → {units.show(change.end, kind, system, digits=4)}{slowly}"


def _logged(run: History, at: float, system: units.System) -> str:
    here = [line for line in run.log if abs(line.at_s - at) < 1e-6]
    lines = [line.what for line in here if line.short] or [line.what for line in here]
    return reworded("; ".join(lines), system) or "event"


def left_of_stall(run: History) -> np.ndarray:
    """Samples left of the stall line at their own speed; False where there is no line."""
    with np.errstate(invalid="ignore"):
        return np.asarray(run.trace("fan_flow") < run.trace("stall_flow"))


def spans(time: np.ndarray, out: np.ndarray, join_s: float = 2.0) -> tuple[Span, ...]:
    """Stretches in which `out` holds; those less than `join_s` apart are one."""
    found: list[Span] = []
    for start, end in _runs(time, out):
        if found and start - found[-1].end_s < join_s:
            found[-1] = Span(found[-1].start_s, end)
        else:
            found.append(Span(start, end))
    return tuple(found)


def _runs(time: np.ndarray, out: np.ndarray) -> Iterable[tuple[float, float]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], out, [False])).astype(int)))
    for first, past in edges.reshape(-1, 2):
        yield float(time[first]), float(time[min(past, len(time) - 1)])


def resting(run: History, numbered: tuple[Event, ...]) -> tuple[Point, ...]:
    """Where the fan stood just before each event and at the end; none where it swung."""
    starts = [("start", float(run.time[0])), *((e.mark, e.at_s) for e in numbered)]
    ends = [at for _, at in starts[1:]] + [float(run.time[-1])]
    points = [_rest(run, mark, max(at, end - RESTS_OVER_S), end)
              for (mark, at), end in zip(starts, ends, strict=True)]  # fmt: skip
    return tuple(point for point in points if point)


def _rest(run: History, mark: str, start: float, end: float) -> Point | None:
    held = (run.time >= start) & (run.time < end)
    flow, rise = run.trace("fan_flow")[held], run.trace("fan_pressure")[held]
    scale_flow, scale_rise = max(run.facts.fan_map.flow), max(run.facts.fan_map.pressure)
    if not len(flow):
        return None
    if np.ptp(flow) > RESTS_WITHIN * scale_flow or np.ptp(rise) > RESTS_WITHIN * scale_rise:
        return None
    speed = float(run.trace("speed_ratio")[held].mean())
    return Point(mark, float(flow.mean()), float(rise.mean()), speed)
