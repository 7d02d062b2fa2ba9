"""Whether the sections of a scenario agree with one another.

Each check takes the sections it needs and is silent where one of them is missing, so that a
reader can tell these mistakes together with those inside the other sections.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from simfan.errors import Problem
from simfan.plant.control import Control
from simfan.plant.drive import Motor
from simfan.plant.events import Event
from simfan.plant.fan import Fan
from simfan.plant.run import Run, off_scan, seconds
from simfan.plant.strategy import Strategy, names_amiss
from simfan.units import show

SPEED_DISAGREEMENT = 0.05
"""Rated speeds of motor and fan may differ by so much."""


@dataclass(frozen=True)
class Parts:
    """The sections that are valid in themselves; None, or left out, where one is not."""

    fan: Fan | None = None
    motor: Motor | None = None
    control: Control | None = None
    run: Run | None = None
    strategies: Mapping[str, Strategy] = field(default_factory=dict)
    timeline: Mapping[int, Event] = field(default_factory=dict)
    """By place in the file."""
    names: tuple[str, ...] | None = None
    """Of all strategies, the invalid ones too; None where they cannot be told."""


def disagreements(parts: Parts) -> Iterator[Problem]:
    """Everything in which the sections do not agree; paths count from the top of the file."""
    yield from _names(parts)
    yield from _controllers(parts)
    yield from _speeds(parts)
    yield from _setpoints(parts)
    if parts.run and parts.control:
        for problem in parts.run.intervals_amiss(parts.control.scan):
            yield Problem(("run", *problem.path), problem.got, problem.allowed, problem.hint)
    yield from _times(parts)
    yield from _order(parts)


def _names(parts: Parts) -> Iterator[Problem]:
    if parts.names is None:
        return
    if not parts.names:
        yield Problem(("strategies",), "no strategy", "one at least",
                      "such as [strategies.variable-speed]")
    for problem in names_amiss(parts.names):
        yield Problem(("strategies", *problem.path), problem.got, problem.allowed, problem.hint)


def _controllers(parts: Parts) -> Iterator[Problem]:
    """Every strategy is tuned: no gain is assumed."""
    if parts.control is None or parts.control.controller:
        return
    for name, strategy in parts.strategies.items():
        if strategy.controller is None:
            here = f"strategies.{name}.controller"
            yield Problem(("strategies", name, "controller"), "no controller tuning",
                          f"{here}.gain and {here}.reset, or control.controller.gain and "
                          "control.controller.reset for all strategies",
                          'such as controller = { gain = 0.4, reset = "8 s" }')


def _speeds(parts: Parts) -> Iterator[Problem]:
    fan, motor = parts.fan, parts.motor
    if fan and motor:
        apart = motor.rated_speed / fan.rated.speed - 1.0
        if abs(apart) > SPEED_DISAGREEMENT:
            yield Problem(
                ("motor", "poles"),
                f"{motor.poles} poles: {show(motor.rated_speed, 'rotation speed', digits=4)} "
                "at the fan",
                f"within {show(SPEED_DISAGREEMENT, 'fraction')} of fan.rated.speed, "
                f"{show(fan.rated.speed, 'rotation speed', digits=4)}",
                "check motor.poles, motor.frequency and motor.belt_ratio")
    for name, strategy in parts.strategies.items():
        if fan and (drive := strategy.speed):
            safe = fan.max_safe_speed / fan.rated.speed
            if drive.maximum > safe * (1.0 + 1e-9):
                yield Problem(("strategies", name, "speed", "maximum"),
                              show(drive.maximum, "fraction", digits=4),
                              f"at most {show(safe, 'fraction', digits=4)}, "
                              "fan.max_safe_speed over fan.rated.speed")


def _setpoints(parts: Parts) -> Iterator[Problem]:
    """A setpoint beyond the transmitter's span could never be seen to be reached."""
    if parts.control is None or parts.control.span is None:
        return
    wanted: list[tuple[tuple[str | int, ...], float]] = []
    if parts.run:
        wanted.append((("run", "starts_at"), parts.run.starts_at))
    for place, event in parts.timeline.items():
        if event.setpoint is not None:
            wanted.append((("timeline", place, "setpoint"), event.setpoint))
        if event.profile is not None:
            wanted.append((("timeline", place, "profile", "setpoint"),
                           max(event.profile.setpoint)))
    for path, flow in wanted:
        if flow > parts.control.span:
            yield Problem(path, show(flow, "volume flow"),
                          f"at most control.span, {show(parts.control.span, 'volume flow')}")


def _times(parts: Parts) -> Iterator[Problem]:
    for place, event in parts.timeline.items():
        if parts.control:
            yield from off_scan(("timeline", place, "at"), event.at, parts.control.scan)
        if parts.run is None:
            continue
        end = parts.run.duration
        if event.at >= end:
            yield Problem(("timeline", place, "at"), seconds(event.at),
                          f"a time before the end of the run, {seconds(end)}",
                          "a later run.duration, or an earlier event")
        elif event.until > end * (1.0 + 1e-9):
            key = "profile" if event.profile else "over"
            yield Problem(("timeline", place, key), f"a change that ends at {seconds(event.until)}",
                          f"an end within the run, {seconds(end)}",
                          "a later run.duration, or a shorter change")


def _order(parts: Parts) -> Iterator[Problem]:
    """Events stand in the order of time, and no two change the same thing at the same time."""
    events = sorted(parts.timeline.items())
    for (_, before), (place, event) in pairwise(events):
        if event.at < before.at:
            yield Problem(("timeline", place, "at"),
                          f"{seconds(event.at)} after an event at {seconds(before.at)}",
                          "events in the order of time")
    changed: set[tuple[float, str]] = set()
    for place, event in events:
        if (event.at, event.changes) in changed:
            what = event.changes.replace("_", " ")
            yield Problem(("timeline", place, "at"),
                          f"a second change of the {what} at {seconds(event.at)}",
                          "one change of a thing at a time")
        changed.add((event.at, event.changes))
