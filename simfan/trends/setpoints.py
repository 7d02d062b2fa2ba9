"""The recorded setpoint as steps and ramps, and a scenario that plays them."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

import numpy as np

from simfan.errors import RunError
from simfan.history import SetpointChange
from simfan.plant.case import Case
from simfan.plant.control import Control
from simfan.plant.events import Event
from simfan.trends.room import finite, slices
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
    first = _first(trend)
    if first is None:
        return ()
    wanted = trend.signals["setpoint"]
    small = SMALL * max(float(np.abs(block).max(initial=0.0)) for block in finite(wanted))
    steps = list(_steps(trend.time, wanted, small))
    groups = _groups(steps, TOGETHER * max(trend.interval_s, scan))
    before = [first[0], *(group[-1].at_s for group in groups)]
    return tuple(_move(group, last) for group, last in zip(groups, before[:-1], strict=True))


def _first(trend: Trend) -> tuple[float, float] | None:
    """(time, value) of the first good setpoint, if any."""
    wanted = trend.signals.get("setpoint", np.empty(0))
    for rows in slices(len(wanted)):
        for k in np.flatnonzero(np.isfinite(wanted[rows]))[:1] + rows.start:
            return float(trend.time[k]), float(wanted[k])
    return None


def _steps(time: Array, wanted: Array, small: float) -> Iterator[Move]:
    """From sample to sample, without moves below `small` that do not add up."""
    before, held = np.empty(0), 0.0
    for rows in slices(len(time)):
        good = np.isfinite(wanted[rows])
        at, now = time[rows][good], np.concatenate([before, wanted[rows][good]])
        held = held if before.size or not now.size else float(now[0])
        for k in np.flatnonzero(np.diff(now)) + 1:
            if abs(now[k] - held) >= small:
                yield Move(float(at[k - len(before)]), 0.0, held, float(now[k]))
                held = float(now[k])
        before = now[-1:]


def _groups(steps: list[Move], apart: float) -> list[list[Move]]:
    """Moves one way, one soon after the other, together."""
    found: list[list[Move]] = []
    for step in steps:
        last = found[-1][-1] if found else step
        one_way = (step.end > step.start) == (last.end > last.start)
        if found and one_way and step.at_s - last.at_s <= apart:
            found[-1].append(step)
        else:
            found.append([step])
    return found


def _move(group: list[Move], earliest: float) -> Move:
    """A ramp begins one of its own intervals before the first sample that shows it."""
    first, last = group[0], group[-1]
    if len(group) == 1:
        return first
    spacing = (last.at_s - first.at_s) / (len(group) - 1)
    begin = max(first.at_s - spacing, earliest)
    return Move(begin, last.at_s - begin, first.start, last.end)


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
    first = _first(trend)
    if first is None:
        raise RunError("the trend has no setpoint to play")
    if len(found) > MOST_MOVES:
        raise RunError(f"the setpoint moves {len(found)} times, at most {MOST_MOVES} can be played")
    begins = first[1]
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
