"""One way of regulating the fan."""

import re
from collections.abc import Iterable, Iterator
from typing import Annotated, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.characteriser import Characteriser
from simfan.plant.control import Control, Controller
from simfan.plant.damper import OutletDamper
from simfan.plant.drive import Motor, SpeedDrive
from simfan.plant.inlet import InletBoxDamper, InletVanes
from simfan.plant.quantities import Description, Limits, Plain, refuse
from simfan.plant.sequence import Sequence
from simfan.plant.structure import (
    Cascade,
    Feedforward,
    MidRanging,
    Override,
    SecondLoop,
    StallFloor,
)
from simfan.units import quoted, show

METHODS = ("outlet_damper", "inlet_box_damper", "inlet_vanes", "speed")
"""Keys of what moves; a strategy has one of them, or inlet_vanes and speed."""

_WORDS = {"outlet_damper": "outlet damper", "inlet_box_damper": "inlet box damper",
          "inlet_vanes": "inlet vanes", "speed": "variable speed"}

Cost = Annotated[float, Plain(Limits(least=0.0, most=1e12))]

_FILE_NAME = re.compile(r"[A-Za-z0-9]([A-Za-z0-9 _.-]{0,58}[A-Za-z0-9_-])?")
_RESERVED = re.compile(r"(con|prn|aux|nul|(com|lpt)[0-9])(\..*)?", re.I)


class Strategy(Description):
    """One way of regulating the fan."""

    outlet_damper: OutletDamper | None = None
    inlet_box_damper: InletBoxDamper | None = None
    inlet_vanes: InletVanes | None = None
    speed: SpeedDrive | None = None
    sequence: Sequence | None = None
    """How inlet vanes and speed share the output, where there are both."""
    characteriser: Characteriser | None = None
    """A table between the controller's output and what moves, where there is one."""
    mid_ranging: MidRanging | None = None
    """In place of a sequence: the vanes hold the value, speed brings them back."""
    second_loop: SecondLoop | None = None
    """In place of a sequence: another value is held by one of the two elements."""
    cascade: Cascade | None = None
    """An inner loop between the controller and the elements."""
    overrides: tuple[Override, ...] = ()
    """Limiting controllers; where two want the output, the later one has it."""
    feedforward: Feedforward | None = None
    """From the setpoint to the output."""
    stall_floor: StallFloor | None = None
    """A lowest output that follows the stall line; it has the last word."""
    controller: Controller | None = None
    """Its own tuning; `control.controller` where not given."""
    installed_cost: Cost | None = None
    """Of buying and installing it, in `energy.currency`; 0 for what stands already. With it and
    that of `year.baseline` the payback is told."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse([*self._method_amiss(), *self._sequence_amiss(), *self._structure_amiss()])
        return self

    @property
    def method(self) -> str:
        """The trade's word for what moves."""
        if self.inlet_vanes and self.speed:
            return "vanes and speed"
        if self.outlet_damper and self.speed:
            return "damper and speed"
        return next(_WORDS[name] for name in METHODS if getattr(self, name) is not None)

    @property
    def structure(self) -> str:
        """The trade's words for how its loops stand together."""
        words = [word for word, there in (
            ("cascade", self.cascade), ("mid-ranging", self.mid_ranging),
            ("two loops", self.second_loop), ("split range", self.sequence)) if there]
        words += [word for word, there in (
            ("overrides", self.overrides), ("feedforward", self.feedforward),
            ("stall floor", self.stall_floor)) if there]
        return " with ".join(words) or "one loop"

    def _method_amiss(self) -> Iterator[Problem]:
        given = [name for name in METHODS if getattr(self, name) is not None]
        pairs = [["inlet_vanes", "speed"]]
        if self.second_loop:
            pairs.append(["outlet_damper", "speed"])
        if len(given) > 1 and given not in pairs:
            yield Problem((given[1],), f"{' and '.join(given)} together",
                          f"one of {' or '.join(METHODS)}, or inlet_vanes and speed")
        elif not given:
            yield Problem((), "nothing that moves", f"one of {' or '.join(METHODS)}",
                          'such as speed = { ramp_up = "40 s", ramp_down = "60 s" }')

    def _sequence_amiss(self) -> Iterator[Problem]:
        """Two elements share an output by a sequence; one alone has nothing to share."""
        both = self.inlet_vanes is not None and self.speed is not None
        apart = self.mid_ranging or self.second_loop
        if both and self.sequence is None and not apart:
            yield Problem(("sequence",), "nothing", "a table, such as "
                          'sequence = { order = "vanes first", split = "50 %" }',
                          "sequence is missing: inlet_vanes and speed share one output")
        elif both and self.sequence and apart:
            key = "mid_ranging" if self.mid_ranging else "second_loop"
            yield Problem(("sequence",), f"a sequence beside {key}", "one of the two",
                          "each element has a controller of its own there: two loops on one "
                          "element need a selector")
        elif self.sequence is not None and not both:
            yield Problem(("sequence",), "a sequence for one element",
                          "no such key, or inlet_vanes and speed together")
        elif self.speed and self.speed.in_shares():
            yield from self._table_amiss(self.speed)

    def _structure_amiss(self) -> Iterator[Problem]:
        """Loops that would pull at one element, or have none."""
        if self.mid_ranging and not (self.inlet_vanes and self.speed):
            yield Problem(("mid_ranging",), f"mid-ranging for {self.method} alone",
                          "inlet_vanes and speed together",
                          "a fast element holds the value, a slow one brings it back")
        if self.mid_ranging and self.second_loop:
            yield Problem(("second_loop",), "second_loop beside mid_ranging", "one of the two",
                          "two loops would move the speed")
        if self.second_loop:
            yield from self._second_amiss(self.second_loop)
        if self.cascade and (self.mid_ranging or self.second_loop):
            yield Problem(("cascade",), "cascade beside another structure", "one of the two",
                          "an inner loop moves all elements")
        if self.cascade and self.cascade.holds == "speed" and not self.speed:
            yield Problem(("cascade", "holds"), '"speed" without a drive', '"flow" or "pressure"',
                          "or speed = { ... } for this strategy")
        apart = next((key for key in ("cascade", "mid_ranging", "second_loop")
                      if getattr(self, key)), None)
        for key in ("characteriser", "feedforward", "stall_floor"):
            if apart and getattr(self, key):
                yield Problem((key,), f"{key} beside {apart}", "one of the two",
                              "its table is that of one output for all elements")
        if self.stall_floor and self.outlet_damper and self.outlet_damper.place == "after volume":
            yield Problem(("stall_floor",), "a stall floor for a damper after the volume",
                          'a damper "before volume", or an override with stall_margin',
                          "behind the volume's pressure the damper does not move the fan's point")

    def _second_amiss(self, second: SecondLoop) -> Iterator[Problem]:
        key = second.moves.replace(" ", "_")
        there = [name for name in METHODS if getattr(self, name) is not None]
        if len(there) < 2:
            yield Problem(("second_loop",), f"two loops on {self.method} alone",
                          "outlet_damper and speed, or inlet_vanes and speed",
                          "two loops on one element need a selector: see overrides")
        elif key not in there:
            yield Problem(("second_loop", "moves"), f'"{second.moves}"',
                          " or ".join(f'"{name.replace("_", " ")}"' for name in there),
                          "it must be one of the strategy's elements")

    def _table_amiss(self, drive: SpeedDrive) -> Iterator[Problem]:
        """The table's speeds are within the drive's limits, which `drive` has as shares."""
        for place, value in enumerate(self.sequence.speed or () if self.sequence else ()):
            if not drive.minimum - 1e-9 <= value <= drive.maximum + 1e-9:
                yield Problem(("sequence", "speed", "values", place), show(value, "fraction"),
                              f"from speed.minimum, {show(drive.minimum, 'fraction')}, to "
                              f"speed.maximum, {show(drive.maximum, 'fraction')}")

    def as_shares(self, motor: Motor, rated_speed: float) -> "Strategy":
        """The same with the limits of its drive as shares of the fan's rated speed [rad/s]."""
        if self.speed is None or self.speed.in_shares():
            return self
        return self.model_copy(update={"speed": self.speed.as_shares(motor, rated_speed)})

    def limits_amiss(self, motor: Motor, rated_speed: float) -> Iterator[Problem]:
        """What is wrong with limits of the drive that only motor and fan make speeds."""
        drive = self.as_shares(motor, rated_speed).speed
        if self.speed is None or drive is None or self.speed.in_shares():
            return
        for problem in self.speed.limits_amiss(drive):
            yield Problem(("speed", *problem.path), problem.got, problem.allowed, problem.hint)
        yield from self._table_amiss(drive)


def has_gains(control: Control, strategy: Strategy) -> bool:
    """Whether the scenario gives a strategy's gains; else they are sought."""
    found = control.given(strategy.controller)
    return found is not None and found.tuned


def names_amiss(names: Iterable[str]) -> Iterator[Problem]:
    """A strategy's name becomes the name of its files: portable, and unlike the others."""
    seen: dict[str, str] = {}
    for name in names:
        if not _FILE_NAME.fullmatch(name) or _RESERVED.fullmatch(name):
            yield Problem((name,), f"the name {quoted(name)}",
                          "letters, digits, - _ . and spaces, at most 60",
                          "results are filed under this name")
        elif name.casefold() in seen:
            other = quoted(seen[name.casefold()])
            yield Problem((name,), f"the name {quoted(name)} beside {other}",
                          "names that differ in more than upper and lower case",
                          "some systems could not keep their files apart")
        seen.setdefault(name.casefold(), name)
