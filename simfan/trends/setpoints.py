"""The recorded setpoint as steps and ramps, and a scenario that plays them."""

from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from simfan.errors import RunError
from simfan.history import SetpointChange
from simfan.plant.case import Case
from simfan.plant.control import Control
from simfan.plant.events import Event
from simfan.trends.trend import Array, Trend
from simfan.units import show

SMALL = 2e-3
"""A setpoint that moves by less than this, of its largest, stands still. Our choice; no source."""
TOGETHER = 3.0
"""Moves one way with at most so many usual intervals, or scans, between them are one ramp. Our
choice; no source."""
MOST_MOVES = 2000
"""A run plays so many; a setpoint that moves more is no list of moves. Our choice; no source."""


@dataclass(frozen=True)
class Move:
    """One move of the setpoint, a step or a ramp. SI."""

    at_s: float
    over_s: float
    start: float
    end: float


def moves(trend: Trend, scan: float) -> tuple[Move, ...]:
    """Every move of the setpoint, in the order of time; none where there is no setpoint.

    A step is told at the first sample that shows it.
    """
    if "setpoint" not in trend.signals:
        return ()
    good = trend.good["setpoint"]
    time, wanted = trend.time[good], trend.signals["setpoint"][good]
    wanted = _rested(wanted, SMALL * float(np.abs(wanted).max(initial=0.0)))
    places = np.flatnonzero(np.diff(wanted)) + 1
    apart = TOGETHER * max(trend.interval_s, scan)
    groups = _groups(time, wanted, places, apart)
    before = [float(time[0]), *(float(time[group[-1]]) for group in groups)]
    return tuple(_move(time, wanted, group, last)
                 for group, last in zip(groups, before[:-1], strict=True))


def _rested(wanted: Array, small: float) -> Array:
    """The setpoint without moves below `small` that do not add up."""
    places = np.flatnonzero(np.diff(wanted)) + 1
    held, rested = float(wanted[0]) if len(wanted) else 0.0, wanted.copy()
    begin = 0
    for k in map(int, places):
        if abs(wanted[k] - held) >= small:
            rested[begin:k] = held
            held, begin = float(wanted[k]), k
    rested[begin:] = held
    return rested


def _groups(time: Array, wanted: Array, places: Array, apart: float) -> list[list[int]]:
    """Moves one way, one soon after the other, together."""
    found: list[list[int]] = []
    way = np.sign(np.diff(wanted))
    for k in map(int, places):
        near = found and time[k] - time[found[-1][-1]] <= apart
        if near and way[k - 1] == way[found[-1][-1] - 1]:
            found[-1].append(k)
        else:
            found.append([k])
    return found


def _move(time: Array, wanted: Array, group: list[int], earliest: float) -> Move:
    """A ramp begins one of its own intervals before the first sample that shows it."""
    first, last = group[0], group[-1]
    start, end = float(wanted[first - 1]), float(wanted[last])
    if len(group) == 1:
        return Move(float(time[first]), 0.0, start, end)
    spacing = float(time[last] - time[first]) / (len(group) - 1)
    begin = max(float(time[first]) - spacing, earliest)
    return Move(begin, float(time[last]) - begin, start, end)


def changes(found: tuple[Move, ...], end_s: float) -> tuple[SetpointChange, ...]:
    """The moves as a run's facts have them."""
    ends = [*(move.at_s for move in found[1:]), end_s][:len(found)]
    return tuple(SetpointChange(m.at_s, until, m.start, m.end, m.over_s)
                 for m, until in zip(found, ends, strict=True))


def played(case: Case, trend: Trend, found: tuple[Move, ...], longest_s: float, noise: bool
           ) -> tuple[Case, tuple[str, ...]]:
    """The case with the trend's setpoints in place of its timeline, and what was assumed.

    Raises RunError where the setpoint cannot be played: none, too many moves, or out of the span.
    """
    control = case.control
    if "setpoint" not in trend.signals:
        raise RunError("the trend has no setpoint to play")
    if len(found) > MOST_MOVES:
        raise RunError(f"the setpoint moves {len(found)} times, at most {MOST_MOVES} can be played")
    begins = _begins(trend)
    for at, value in ((0.0, begins), *((m.at_s, m.end) for m in found)):
        _within(control, at, value)
    scan = control.scan
    lasts = min(float(trend.time[-1]), longest_s)
    duration = max(ceil(round(lasts / scan, 6)), 1) * scan
    events = tuple(Event(at=round(m.at_s / scan) * scan, over=m.over_s, setpoint=m.end)
                   for m in found if round(m.at_s / scan) * scan < duration)
    notes = ["the run starts at rest at the trend's first setpoint"]
    if any(event.setpoint is None for event in case.timeline):
        notes.append("disturbances and faults of the scenario's timeline are not played: the trend "
                     "does not say when they were")
    if duration < trend.time[-1] - scan:
        notes.append(f"only the first {show(duration, 'time')} were run beside the trend")
    quiet = control.transmitter.model_copy(update={} if noise else {"noise": 0.0})
    run = case.run.model_copy(update={"duration": duration, "starts_at": begins})
    return case.model_copy(update={
        "timeline": events, "run": run,
        "control": control.model_copy(update={"transmitter": quiet})}), tuple(notes)


def _begins(trend: Trend) -> float:
    good = trend.good["setpoint"]
    return float(trend.signals["setpoint"][good][0])


def _within(control: Control, at_s: float, value: float) -> None:
    """A setpoint the loop could never hold is a wrong unit or a plant that stood still."""
    kind = control.held_kind
    low, high = control.span_ends or (None, None)
    if control.holds == "flow" and value <= 0.0:
        raise RunError(f"the setpoint is {show(value, kind)} at {at_s:.6g} s: a run needs a flow "
                       "above zero; judge a part of the trend, with --from and --to")
    if (high is not None and value > high) or (low is not None and value < low):
        ends = " to ".join(show(end, kind) for end in (low, high) if end is not None)
        raise RunError(f"the setpoint is {show(value, kind)} at {at_s:.6g} s, beyond the span of "
                       f"{ends}; is its unit right?")


def shifted(found: tuple[Move, ...], by_s: float) -> tuple[Move, ...]:
    """The same moves, later by so much."""
    return tuple(replace(m, at_s=m.at_s + by_s) for m in found)
