"""Every loop of a strategy as the kernel takes it: who reads what, who sets and overrides whom.

A loop that sets another one stands before it; the first is the loop of `control`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import exp, inf
from typing import Any

import numpy as np

from simfan.assemble.control import controller, more, raises, row
from simfan.assemble.ductwork import VOLUME, AirPath
from simfan.assemble.sequence import Points
from simfan.assemble.transmitter import plain, transmitter
from simfan.kernel.layout import (
    HIGHER,
    INNER,
    LOAD,
    LOOP,
    LOWER,
    NODE_PRESSURE,
    OUTPUT_OF,
    READING,
    SETPOINT,
    SPEED,
    STALL_MARGIN,
    rows,
)
from simfan.plant.case import Case, Strategy
from simfan.plant.structure import Override

MOST_LOAD = 2.0
"""Upper end of the span on which an override sees a motor load."""
PRESSURES = 2.0
"""An override on a pressure sees so many times its limit to either side of zero."""


@dataclass(frozen=True)
class Part:
    """One loop."""

    name: str
    kind: str
    """Of what it reads: a kind of unit."""
    transmitter: np.recarray
    loop: dict[str, Any]
    setpoint: float = float("nan")
    """Of a loop that neither the timeline nor another loop sets [SI]."""
    noise: float = 0.0
    """Standard deviation, of the raw signal's span."""
    moves: tuple[str, ...] = ()
    """Elements."""
    waits: bool = False
    """Whether it stands still while the first loop is in manual."""

    @property
    def limits(self) -> bool:
        """Whether it holds nothing, and takes the output over at a limit."""
        return int(self.loop["overrides"]) >= 0


@dataclass(frozen=True)
class Loops:
    """All of them."""

    parts: tuple[Part, ...]
    hand: int = 0
    """The loop that events put in manual."""

    @property
    def transmitters(self) -> np.recarray:
        """(n_loops,)"""
        return np.concatenate([p.transmitter for p in self.parts]).view(np.recarray)

    def records(self, elements: tuple[str, ...]) -> np.recarray:
        """(n_loops,) records; the element whose position may be the reset filled in."""
        first = [next((elements.index(m) for m in p.moves), 0) for p in self.parts]
        columns = {key: [p.loop[key] for p in self.parts] for key in self.parts[0].loop}
        return rows(LOOP, **columns | {"actuator": first})

    def moving(self, elements: tuple[str, ...]) -> list[int]:
        """(n_elements,) which loop moves each."""
        return [next(i for i, p in enumerate(self.parts) if e in p.moves) for e in elements]


def loops(case: Case, strategy: Strategy, path: AirPath, elements: tuple[str, ...], step: float
          ) -> Loops:
    """The strategy's loops at this inner step [s]."""
    found = _pair(case, strategy, path, elements, step)
    hand = 1 if strategy.cascade else 0
    parts = [*found, *_overriding(case, strategy, path, step, hand)]
    if strategy.feedforward:
        parts[0] = _fed(parts[0], strategy.feedforward.lag, case.control.scan)
    return Loops(tuple(parts), hand)


def _pair(case: Case, strategy: Strategy, path: AirPath, elements: tuple[str, ...], step: float
          ) -> list[Part]:
    """The first loop, and the one that stands below or beside it."""
    control, scan = case.control, case.control.scan
    second, c = strategy.second_loop, controller(case, strategy)
    sign = 1.0 if raises(case, strategy) else -1.0
    mine = elements
    if strategy.mid_ranging:
        mine = ("inlet vanes",)
    elif second:
        mine = tuple(e for e in elements if e != second.moves)
    first = Part(control.holds, control.held_kind, transmitter(case, control, path, step),
                 row(c, scan, sign), moves=mine, noise=control.transmitter.noise)
    if strategy.cascade:
        return _cascaded(case, strategy, path, step, first)
    if mid := strategy.mid_ranging:
        slow = Part("vanes' output", "fraction", plain(OUTPUT_OF, 0, 0.0, 1.0, step),
                    row(mid.controller, scan, -1.0), setpoint=mid.target, moves=("speed",),
                    waits=True)
        return [first, slow]
    if second:
        control = second.as_control(control)
        moved = strategy.outlet_damper if second.moves == "outlet damper" else None
        other = Part(_unlike(second.holds, first.name), control.held_kind,
                     transmitter(case, control, path, step),
                     row(second.controller, scan, 1.0 if more(case, control, moved) else -1.0),
                     setpoint=float(second.setpoint), moves=(second.moves,),
                     noise=second.transmitter.noise)
        return [first, other]
    return [first]


def _cascaded(case: Case, strategy: Strategy, path: AirPath, step: float, first: Part
              ) -> list[Part]:
    """The controller above the inner one, which takes its elements."""
    inner, scan = strategy.cascade, case.control.scan
    assert inner is not None
    device, sign = inner.transmitter, 1.0
    if inner.holds == "speed":
        assert strategy.speed is not None
        sees, kind = plain(SPEED, 0, 0.0, strategy.speed.maximum, step, device.lag,
                           device.dead_time), "fraction"
    else:
        control = inner.as_control(case.control)
        sees, kind = transmitter(case, control, path, step), control.held_kind
        sign = 1.0 if more(case, control, strategy.outlet_damper) else -1.0
    outer = Part(first.name, first.kind, first.transmitter, first.loop | {
        "gain": sign * first.loop["gain"], "derivative": sign * first.loop["derivative"],
        "inner": 1, "reset_from": INNER}, noise=first.noise)
    return [outer, Part(_unlike(inner.holds, first.name), kind, sees,
                        row(inner.controller, scan, sign, source=0), moves=first.moves,
                        noise=device.noise)]


def _overriding(case: Case, strategy: Strategy, path: AirPath, step: float, hand: int
                ) -> Iterator[Part]:
    """Limiting controllers, then the floor."""
    scan = case.control.scan
    for override in strategy.overrides:
        sees, kind, rises, above = _watched(case, strategy, override, step)
        lower = above == rises
        yield Part(f"{override.keeps.replace('_', ' ')} limit", kind, sees,
                   row(override.controller, scan, 1.0 if rises else -1.0, overrides=hand,
                       select=LOWER if lower else HIGHER), setpoint=override.limit)
    if floor := strategy.stall_floor:
        idle = row(controller(case, strategy), scan, 0.0)
        low, width = -case.fan.static[0], 3.0 * max(case.fan.static)
        yield Part("stall floor", "pressure",
                   plain(NODE_PRESSURE, VOLUME, low, width, step, floor.lag),
                   idle | {"gain": 0.0, "derivative": 0.0, "reset": inf, "most_aim": inf,
                           "gap": 0.0, "overrides": hand, "select": HIGHER, "feed": READING},
                   setpoint=0.0)


def _watched(case: Case, strategy: Strategy, override: Override, step: float
             ) -> tuple[np.recarray, str, bool, bool]:
    """(transmitter, kind, whether more output raises what it sees, whether the limit is an upper
    one)."""
    keeps, more_of_it = override.keeps, {"lag": override.lag, "dead_time": override.dead_time}
    if keeps == "motor_load":
        return plain(LOAD, 0, 0.0, MOST_LOAD, step, **more_of_it), "fraction", True, True
    if keeps == "stall_margin":
        return plain(STALL_MARGIN, 0, -1.0, 2.0, step, **more_of_it), "fraction", True, False
    extent = PRESSURES * abs(override.limit)
    control = case.control.model_copy(update={"holds": "pressure", "measured_at": "volume"})
    return (plain(NODE_PRESSURE, VOLUME, -extent, 2.0 * extent, step, **more_of_it), "pressure",
            more(case, control, strategy.outlet_damper), keeps == "highest_pressure")


def _fed(part: Part, lag: float, scan: float) -> Part:
    share = 1.0 - exp(-scan / lag) if lag > 0.0 else 1.0
    return Part(part.name, part.kind, part.transmitter,
                part.loop | {"feed": SETPOINT, "feed_share": share}, part.setpoint, part.noise,
                part.moves, part.waits)


def _unlike(name: str, other: str) -> str:
    return f"inner {name}" if name == other else name


def resting_sequence(strategy: Strategy, real: dict[str, Points]) -> dict[str, Points]:
    """Element → (place on the way from least to most, demand) where the loops are at rest.

    With mid-ranging the vanes stand at their target while speed follows; beyond the ends of the
    speed they take over.
    """
    if not strategy.mid_ranging:
        return real
    target, (low, high) = strategy.mid_ranging.target, (real["speed"][0][1], real["speed"][-1][1])
    a, b = 0.5 * target, 0.5 * (1.0 + target)
    return {"inlet vanes": ((0.0, 0.0), (a, target), (b, target), (1.0, 1.0)),
            "speed": ((0.0, low), (a, low), (b, high), (1.0, high))}
