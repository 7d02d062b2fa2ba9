"""Whether the sections of a scenario agree with one another.

Each check takes the sections it needs and is silent where one of them is missing, so that a
reader can tell these mistakes together with those inside the other sections.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from simfan.errors import Problem
from simfan.plant.air import Air
from simfan.plant.control import SOUGHT, Control
from simfan.plant.days import Days
from simfan.plant.drive import Motor
from simfan.plant.ductwork import Ductwork, Process, design_amiss
from simfan.plant.events import Event
from simfan.plant.fan import Fan
from simfan.plant.fault import LOST, SHUTTERS
from simfan.plant.points import value_at
from simfan.plant.run import Run, off_scan, seconds
from simfan.plant.setpoints import beside_amiss, setpoints_amiss
from simfan.plant.speed_limits import said
from simfan.plant.strategy import Strategy, has_gains, names_amiss
from simfan.plant.year import Year, year_amiss
from simfan.units import show

SPEED_DISAGREEMENT = 0.05
"""Rated speeds of motor and fan may differ by so much."""

OPEN_CURVE = 0.10
"""A family's curve at 100 % may differ so much from the fan's own, of the highest pressure: room
for the loss of open vanes, not for a slip in a unit. An assumption."""


@dataclass(frozen=True)
class Parts:
    """The sections that are valid in themselves; None, or left out, where one is not."""

    fan: Fan | None = None
    motor: Motor | None = None
    ductwork: Ductwork | None = None
    process: Process | None = None
    control: Control | None = None
    run: Run | None = None
    air: Air | None = None
    days: Days | None = None
    year: Year | None = None
    strategies: Mapping[str, Strategy] = field(default_factory=dict)
    timeline: Mapping[int, Event] = field(default_factory=dict)
    """By place in the file."""
    whole_timeline: bool = True
    """Whether all events of the file are among them."""
    names: tuple[str, ...] | None = None
    """Of all strategies, the invalid ones too; None where they cannot be told."""


def disagreements(parts: Parts) -> Iterator[Problem]:
    """Everything in which the sections do not agree; paths count from the top of the file."""
    yield from _names(parts)
    yield from _controllers(parts)
    yield from _speeds(parts)
    yield from _places(parts)
    if parts.process and parts.ductwork:
        yield from design_amiss(parts.process, parts.ductwork)
    yield from _families(parts)
    yield from setpoints_amiss(parts.control, parts.run, parts.timeline)
    if parts.control:
        for name, strategy in parts.strategies.items():
            yield from beside_amiss(parts.control, name, strategy)
    if parts.run and parts.control:
        for problem in parts.run.intervals_amiss(parts.control.scan):
            yield Problem(("run", *problem.path), problem.got, problem.allowed, problem.hint)
    yield from _times(parts)
    yield from _needs(parts)
    yield from _order(parts)
    yield from _days(parts)
    for problem in year_amiss(parts.year, parts.control, parts.names):
        yield Problem(("year", *problem.path), problem.got, problem.allowed, problem.hint)


def _names(parts: Parts) -> Iterator[Problem]:
    if parts.names is None:
        return
    if not parts.names:
        yield Problem(("strategies",), "no strategy", "one at least",
                      "such as [strategies.variable-speed]")
    for problem in names_amiss(parts.names):
        yield Problem(("strategies", *problem.path), problem.got, problem.allowed, problem.hint)


def _controllers(parts: Parts) -> Iterator[Problem]:
    """Gains are sought only where some strategy gives none."""
    control, strategies = parts.control, parts.strategies
    if control is None or not strategies or len(strategies) < len(parts.names or ()):
        return
    if all(has_gains(control, strategy) for strategy in strategies.values()):
        for key in SOUGHT:
            if key in control.model_fields_set:
                yield Problem(("control", key), f"{key} where every strategy gives its gains",
                              "no such key, or a strategy without gains",
                              "take away the gains of the strategies that shall be tuned")


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
        if fan and strategy.speed and (motor or strategy.speed.in_shares()):
            yield from _limits(name, strategy, fan, motor)


def _limits(name: str, strategy: Strategy, fan: Fan, motor: Motor | None) -> Iterator[Problem]:
    """The limits of a drive as speeds of this fan, and the wheel's own."""
    written = strategy.speed
    problems = list(strategy.limits_amiss(motor, fan.rated.speed)) if motor else []
    for problem in problems:
        yield Problem(("strategies", name, *problem.path), problem.got, problem.allowed,
                      problem.hint)
    if motor:
        strategy = strategy.as_shares(motor, fan.rated.speed)
    safe = fan.max_safe_speed / fan.rated.speed
    if not problems and written and strategy.speed and strategy.speed.maximum > safe * (1.0 + 1e-9):
        yield Problem(("strategies", name, "speed", "maximum"),
                      said(written.maximum, strategy.speed.maximum),
                      f"at most {show(safe, 'fraction', digits=4)}, "
                      "fan.max_safe_speed over fan.rated.speed")


def _places(parts: Parts) -> Iterator[Problem]:
    """An outlet damper counts its place from a volume on the discharge side, if there is one."""
    if parts.ductwork is None:
        return
    side = parts.ductwork.volume_side
    allowed = ("at fan",) if side == "inlet" else ("before volume", "after volume")
    for name, strategy in parts.strategies.items():
        if side == "inlet" and strategy.stall_floor:
            yield Problem(("strategies", name, "stall_floor"), "a stall floor",
                          "a volume on the discharge side, or an override with stall_margin",
                          'because of ductwork.volume_side = "inlet"')
        damper = strategy.outlet_damper
        if damper and damper.place not in allowed:
            yield Problem(("strategies", name, "outlet_damper", "place"), f'"{damper.place}"',
                          " or ".join(f'"{word}"' for word in allowed),
                          f'because of ductwork.volume_side = "{side}"')


def _families(parts: Parts) -> Iterator[Problem]:
    """Measured with vanes wide open, a fan shows about its own rated curve."""
    fan = parts.fan
    if fan is None:
        return
    slack = OPEN_CURVE * max(fan.static)
    for name, strategy in parts.strategies.items():
        for key in ("inlet_box_damper", "inlet_vanes"):
            element = getattr(strategy, key)
            if element is None or element.family is None:
                continue
            curve = element.family[-1]
            path = ("strategies", name, key, "family", len(element.family) - 1)
            for place, (q, p) in enumerate(zip(curve.flow, curve.static_pressure, strict=True)):
                own = value_at(q, fan.flow, fan.static)
                if own is not None and abs(p - own) > slack:
                    yield Problem((*path, "static_pressure", "values", place),
                                  f"{show(p, 'pressure', digits=4)} at {show(q, 'volume flow')}",
                                  f"near {show(own, 'pressure', digits=4)}, the fan's own curve",
                                  "both hold at fan.rated, with vanes wide open")
                    break


def _times(parts: Parts) -> Iterator[Problem]:
    for place, event in parts.timeline.items():
        if parts.control:
            yield from off_scan(("timeline", place, "at"), event.at, parts.control.scan)
            if event.fault and event.fault.lasts is not None:
                yield from off_scan(("timeline", place, "fault", "lasts"), event.fault.lasts,
                                    parts.control.scan)
        if parts.run is None:
            continue
        end = parts.run.duration
        if event.at >= end:
            yield Problem(("timeline", place, "at"), seconds(event.at),
                          f"a time before the end of the run, {seconds(end)}",
                          "a later run.duration, or an earlier event")
        elif event.until > end * (1.0 + 1e-9):
            key = "profile" if event.profile else "fault" if event.fault else "over"
            yield Problem(("timeline", place, key), f"a change that ends at {seconds(event.until)}",
                          f"an end within the run, {seconds(end)}",
                          "a later run.duration, or a shorter change")


def _needs(parts: Parts) -> Iterator[Problem]:
    """Events that turn what must be there first; silent where an earlier one may be missing."""
    lost = not parts.whole_timeline
    run = parts.run
    manual = lost or run is None or run.from_standstill or run.setpoint is not None
    for place, event in sorted(parts.timeline.items()):
        no_filter = parts.ductwork is not None and parts.ductwork.inlet_filter is None
        if event.inlet_resistance is not None and no_filter:
            yield Problem(("timeline", place, "inlet_resistance"), "no inlet filter to clog",
                          "a filter: ductwork.inlet_filter",
                          'such as inlet_filter = { flow = "45 m3/s", pressure = "200 Pa" }')
        if parts.ductwork is not None:
            yield from _shutter(place, event, parts.ductwork)
        if event.automatic and not manual:
            yield Problem(("timeline", place, "automatic"), "a controller that is in automatic",
                          "an earlier event with manual_output")
        if event.instrument_air == "back" and not lost:
            yield Problem(("timeline", place, "instrument_air"), '"back" without a loss before',
                          'an earlier event with instrument_air = "lost"')
        if parts.whole_timeline:
            manual = ((manual or event.manual_output is not None or _lost(parts.control, event))
                      and not event.automatic)
            lost = event.instrument_air == "lost" if event.instrument_air else lost


def _lost(control: Control | None, event: Event) -> bool:
    """Whether the event takes the loop to manual by a lost signal."""
    answer = control.lost_signal if control else None
    return bool(answer and answer.answer == "manual" and event.fault and event.fault.state in LOST)


def _shutter(place: int, event: Event, duct: Ductwork) -> Iterator[Problem]:
    """An isolation or a check damper that is worked, or fares ill, stands in the ductwork."""
    meant = "isolation damper" if event.isolation else event.fault.of if event.fault else ""
    if meant in SHUTTERS and meant not in duct.shutters:
        key = meant.replace(" ", "_")
        yield Problem(("timeline", place, "isolation" if event.isolation else "fault"),
                      f"no {meant}", f"one: ductwork.{key}",
                      f'such as {key} = {{ stroke_time = "10 s" }}')


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
        thing = "manual_output" if event.automatic else event.changes
        if event.fault:
            thing = f"{event.fault.of} {event.fault.state}"
        if (event.at, thing) in changed:
            what = thing.replace("_", " ")
            yield Problem(("timeline", place, "at"),
                          f"a second change of the {what} at {seconds(event.at)}",
                          "one change of a thing at a time")
        changed.add((event.at, thing))


def _days(parts: Parts) -> Iterator[Problem]:
    """The day that the scenario states lies between the coldest and the hottest."""
    if parts.air is None or parts.days is None:
        return
    stated = parts.air.temperature
    for key, day, sign in (("coldest", parts.days.coldest, 1.0),
                           ("hottest", parts.days.hottest, -1.0)):
        if day is not None and sign * (day.ambient - stated) > 1e-6:
            yield Problem(("days", key, "ambient"), show(day.ambient, "temperature", digits=4),
                          f"{'at most' if sign > 0.0 else 'at least'} air.temperature, "
                          f"{show(stated, 'temperature', digits=4)}",
                          "the scenario itself is one of the days between them")
